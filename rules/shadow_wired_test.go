package rules

import (
	"fmt"
	"slices"
	"time"

	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// wired is a unit as nobody beside a real one can know it: relays, valves, water and a hand at the button, in ticks.
type wired struct {
	delay, bypass           time.Duration // real ones
	setpoint                float64       // of the relay
	inletTakes, reliefTakes time.Duration

	value   float64
	power   bool
	button  bool
	held    bool // the button, a tick ago
	ton     TON
	tp      TP
	tripped bool
	inlet   time.Duration // 0 = shut, inletTakes = open
	relief  time.Duration

	now       time.Duration
	disturbed time.Duration // newest instant at which the countdown began anew: on spec, a press, power
}

const tick = 100 * time.Millisecond

// step lets one tick pass with the inputs held.
func (w *wired) step() {
	w.now += tick
	if !w.power {
		w.ton, w.tp, w.tripped, w.held = TON{}, TP{}, false, w.button
		w.disturbed = w.now
		w.drive(false, false)
		return
	}
	w.ton.Advance(tick, w.delay)
	w.tp.Advance(tick, w.bypass)
	off := w.value >= w.setpoint
	w.ton.Set(off)
	if !off {
		w.disturbed = w.now
	}
	edge := w.button && !w.held
	w.held = w.button
	if edge && !w.tp.Running && (off || w.tripped) {
		w.tripped, w.disturbed = false, w.now
		w.tp.Set(true)
	}
	w.tp.Set(w.tp.In && w.button)
	if w.ton.Q(w.delay) && !w.tp.Q() {
		w.tripped = true
	}
	w.drive(!w.tripped, w.tripped)
}

func (w *wired) drive(inlet, relief bool) {
	move := func(place *time.Duration, open bool, takes time.Duration) {
		if open {
			*place = min(*place+tick, takes)
		} else {
			*place = max(*place-tick, 0)
		}
	}
	move(&w.inlet, inlet, w.inletTakes)
	move(&w.relief, relief, w.reliefTakes)
}

// spell is a piece of a story: so long, with this product and power.
type spell struct {
	ticks int
	value float64
	power bool
}

// world is a whole story with the way it is watched.
type world struct {
	set     Settings
	unit    wired
	runs    []spell
	presses map[int]int // from tick, for so many ticks
	poll    int         // ticks between two polls
	jitter  int         // ticks, either way
	lost    int         // per thousand
	burst   int         // longest run of lost polls
	blur    float64     // uS/cm, measuring noise either way
	poor    int         // per thousand: uncertain, or bad by decoding
	contact bool        // button
	powered bool        // control power contact
	valves  uint8
}

func ticks(d time.Duration) int { return int(d / tick) }

// drawWorld makes a story: excursions, hovering, power losses, presses; on-spec water lasts longer than the bridge,
// since a shorter dip between two readings cannot be seen by anybody.
func drawWorld(t *rapid.T) *world {
	w := &world{set: Defaults(), presses: map[int]int{}}
	seconds := func(low, high int, name string) time.Duration {
		return time.Duration(rapid.IntRange(low, high).Draw(t, name)) * time.Second
	}
	p := &w.set.Profile
	w.set.Delay, w.set.Bypass = seconds(60, 120, "delay"), seconds(60, 120, "bypass")
	if rapid.IntRange(0, 3).Draw(t, "long") == 0 {
		w.set.Delay, w.set.Bypass = 10*time.Minute, 10*time.Minute
	}
	spread := func(d time.Duration, name string) (Span, time.Duration) {
		s := Span{Lo: d - seconds(0, 20, name+" lo"), Hi: d + seconds(0, 20, name+" hi")}
		return s, s.Lo + time.Duration(rapid.IntRange(0, ticks(s.Hi-s.Lo)).Draw(t, name))*tick
	}
	p.Timers.Delay, w.unit.delay = spread(w.set.Delay, "real delay")
	p.Timers.Bypass, w.unit.bypass = spread(w.set.Bypass, "real bypass")
	p.Timers.Trial = Trial{Who: "who", When: "2026-03-14"}
	p.PowerWhileShut = Answer{Trial: Trial{Who: "who", When: "2026-03-14"}}
	w.unit.setpoint = 1 + float64(rapid.IntRange(-9, 9).Draw(t, "setpoint"))/1000
	w.blur = 0.01
	w.unit.inletTakes, w.unit.reliefTakes = seconds(1, 29, "inlet takes"), seconds(1, 29, "relief takes")
	w.unit.power, w.unit.inlet = true, w.unit.inletTakes
	w.poll = rapid.SampledFrom([]int{5, 10, 20, 20, 50, 100}).Draw(t, "poll")
	w.jitter = rapid.IntRange(0, w.poll/3).Draw(t, "jitter")
	w.lost = rapid.SampledFrom([]int{0, 10, 50, 300}).Draw(t, "lost")
	w.burst = rapid.SampledFrom([]int{1, 3, 40}).Draw(t, "burst")
	w.poor = rapid.SampledFrom([]int{0, 0, 20}).Draw(t, "poor")
	w.contact, w.powered = rapid.Bool().Draw(t, "button contact"), rapid.Bool().Draw(t, "power contact")
	w.valves = uint8(rapid.IntRange(0, 7).Draw(t, "valves"))
	w.drawSpells(t)
	return w
}

func (w *world) drawSpells(t *rapid.T) {
	p := &w.set.Profile
	w.runs = []spell{{400 + w.poll, 0.4, true}}
	total := w.runs[0].ticks
	for range rapid.IntRange(3, 12).Draw(t, "runs") {
		long := rapid.SampledFrom([]int{1, 20, 120, 400, 700, 1300}).Draw(t, "long")
		r := spell{ticks: 10*long + rapid.IntRange(0, 1500).Draw(t, "ticks"), power: true}
		switch kind := rapid.SampledFrom([]string{"off", "off", "off", "on", "near", "dark"}).Draw(t, "kind"); {
		case kind == "off":
			r.value = rapid.SampledFrom([]float64{1.04, 1.5, 20}).Draw(t, "off value")
		case kind == "on" || kind == "dark" && !w.powered:
			r.value, r.ticks = 0.5, max(r.ticks, ticks(w.set.Profile.Bridge)+2*w.poll+2)
		case kind == "near":
			r.value = 1 + float64(rapid.IntRange(-15, 15).Draw(t, "near"))/1000
			r.ticks = max(r.ticks, ticks(w.set.Profile.Bridge)+2*w.poll+2)
		default:
			// Control power is away for longer than any bridge, and comes back with good water.
			r.value, r.power, r.ticks = 0.5, false, max(r.ticks, ticks(w.set.Profile.Bridge)+2*w.poll+2)
		}
		if last := w.runs[len(w.runs)-1]; !last.power && r.power {
			r.ticks = max(r.ticks, ticks(w.set.Profile.Bridge)+2*w.poll+2)
		}
		w.runs, total = append(w.runs, r), total+r.ticks
	}
	// Somebody who presses unseen again and again, at the very end of each bypass, cannot be told from a stuck inlet.
	apart := ticks(p.Timers.Bypass.Hi + 3*p.Travel.Inlet)
	for at := 0; rapid.IntRange(0, 3).Draw(t, "press") > 0 && at < total; {
		at += apart + rapid.IntRange(0, total/4).Draw(t, "later")
		w.presses[at] = rapid.IntRange(31, 80).Draw(t, "held")
	}
}

// coin is a random stream of its own: a drawn choice at each of thousands of polls would be too slow to shrink.
type coin uint64

func (c *coin) next(n int) int {
	*c ^= *c << 13
	*c ^= *c >> 7
	*c ^= *c << 17
	return int(uint64(*c) % uint64(n))
}

// watch plays the story and calls look after each scan, and tripped at each stop by the wired timer.
func (w *world) watch(seed uint64, look func(s *State, u *wired, read bool), tripped func(u *wired)) {
	var s State
	var out Effects
	c, u := coin(seed|1), &w.unit
	at, next, last, lost, held := 0, 0, time.Duration(0), 0, 0
	for _, r := range w.runs {
		u.value, u.power = r.value, r.power
		for range r.ticks {
			if n, ok := w.presses[at]; ok {
				held = max(held, n)
			}
			u.button = held > 0
			held = max(0, held-1)
			was := u.tripped
			u.step()
			if u.tripped && !was {
				tripped(u)
			}
			at++
			if at < next {
				continue
			}
			next = at + max(1, w.poll+c.next(2*w.jitter+1)-w.jitter)
			if lost > 0 {
				lost--
			} else if c.next(1000) < w.lost {
				lost = 1 + c.next(w.burst)
			}
			in := Input{Scan: true, Gap: u.now - last}
			read := lost == 0 && w.read(&in, &c)
			last = u.now
			Step(&w.set, &s, &in, &out)
			look(&s, u, read)
		}
	}
}

// read takes one poll of every instrument; it reports whether product was read with good quality.
func (w *world) read(in *Input, c *coin) bool {
	u := &w.unit
	contact := func(id signal.ID, on bool) {
		v := 0.0
		if on {
			v = 1
		}
		in.Readings[id] = signal.Reading{Value: v, Quality: signal.Good}
	}
	if w.contact {
		contact(signal.BypassButton, u.button)
	}
	if w.powered {
		contact(signal.ControlPower, u.power)
	}
	if w.valves&openWired != 0 {
		contact(signal.InletOpen, u.inlet == u.inletTakes)
	}
	if w.valves&shutWired != 0 {
		contact(signal.InletShut, u.inlet == 0)
	}
	if w.valves&reliefWired != 0 {
		contact(signal.ReliefOpen, u.relief == u.reliefTakes)
	}
	if !u.power {
		return false
	}
	quality := signal.Good
	if c.next(1000) < w.poor {
		quality = []signal.Quality{signal.Uncertain, signal.Bad}[c.next(2)]
	}
	noise := w.blur * float64(c.next(2001)-1000) / 1000
	in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(u.value+noise, quality)
	return quality == signal.Good
}

// median of a list of times.
func median(list []time.Duration) time.Duration {
	slices.Sort(list)
	return list[len(list)/2]
}

func (u *wired) String() string {
	return fmt.Sprintf("at %v: delay %v of %v, bypass %v %v, tripped %v, value %v, power %v", u.now, u.ton.ET, u.delay, u.tp.Running, u.tp.ET, u.tripped, u.value, u.power)
}
