package screen

import (
	"context"
	"fmt"
	"image"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// The story of a trailer, as an operator sees it on the panel PC and on a telephone: good water, off spec, stopped, a
// bypass, control power lost, and a screen that hears nothing any more.
func TestTheStoryInTheBrowser(t *testing.T) {
	b := newBrowser(t)
	u := newUnit()
	s := newScreen(t, u, func(set *Settings) { set.Order = func(rules.Order) error { return nil } })
	u.run(300, 5*time.Second)
	url, stop := serve(t, s)
	panel, phone := b.open(t, url, 1280, 800, "day"), b.open(t, url, 390, 844, "day")

	// see waits for the words on both, looks for what sticks out, and keeps the pictures.
	see := func(name, word, sentence string) {
		t.Helper()
		for _, p := range []*tab{panel, phone} {
			p.shows("word", word)
			p.shows("sentence", sentence)
			for _, look := range []string{"day", "night"} {
				p.look(look)
				assert.Empty(t, ask[[]string](p, overflow), "%s %s", name, look)
			}
		}
		panel.shot(name + "-night")
		panel.look("day")
		panel.shot(name)
		phone.look("day")
		phone.whole(name + "-phone")
	}

	see("1-service", "GOOD WATER", "Good water flows to the user. Product is below the endpoint 1.000 uS/cm.")
	assert.False(t, ask[bool](panel, `document.querySelector('.count').checkVisibility()`), "no countdown where no stop approaches")

	u.breakthrough(1.35, 24)
	u.analog(signal.ProductConductivity, 1.362)
	u.run(30, time.Second)
	see("2-delay", "OFF SPEC", "BAD WATER GOES TO THE USER. Product 1.362 uS/cm, limit 1.000 uS/cm. The unit stops it at "+
		due(u)+" if it stays bad.")
	panel.is(`/^[1-9]:[0-5][0-9]$/.test(document.getElementById('left').textContent)`)
	measure(t, panel)

	at := u.at.Add(mustLeft(t, u))
	u.run(600, time.Second)
	see("3-shut", "STOPPED", "WATER STOPPED at "+at.Format("15:04")+": product was 1.362 uS/cm, limit 1.000 uS/cm, for 10 min. Relief is running.")
	assert.Equal(t, "Press BYPASS on the wired panel (10 min).", ask[string](panel, `document.querySelectorAll('#steps li')[3].textContent`))

	u.analog(signal.RinseOpen, 1)
	u.analog(signal.ProductOutletOpen, 0)
	u.press()
	u.run(100, time.Second)
	see("4-bypass-rinse", "BYPASS", "BYPASS IS ON and rinse is open. Product 1.362 uS/cm, limit 1.000 uS/cm. Stops at "+due(u)+" if it stays bad.")

	u.analog(signal.ControlPower, 0)
	u.lose(signal.FeedConductivity, signal.InletOpen, signal.InletShut, signal.ReliefOpen)
	u.readings[signal.ProductConductivity] = signal.Reading{Quality: signal.Bad, Cause: signal.Sentinel}
	lost := u.at.Add(time.Second)
	u.run(40, time.Second)
	see("5-no-power", "NO POWER", "WATER STOPPED: no control power since "+lost.Format("15:04")+", the inlet shuts by itself. Not a water quality stop.")
	assert.Contains(t, ask[string](panel, `getComputedStyle(document.querySelector('[data-t=product]')).textDecorationLine`), "line-through")

	for _, p := range []*tab{panel, phone} {
		p.quiet()
	}
	stop() // the agent is gone: the page must find out by itself
	see("6-silent", "NO DATA", "THIS SCREEN KNOWS NOTHING SINCE "+u.at.Format("15:04"))
	for _, key := range []string{"feed", "product", "flow"} {
		assert.NotEmpty(t, ask[string](panel, `document.querySelector('[data-t=`+key+`]').textContent`), "never blank")
		assert.Contains(t, ask[string](panel, `getComputedStyle(document.querySelector('[data-t=`+key+`]')).textDecorationLine`), "line-through")
	}
	age := ask[string](panel, `document.getElementById('age').textContent`)
	panel.is(`document.getElementById('age').textContent !== '` + age + `'`) // it goes on ageing, it is not frozen

	// The same program comes back at the same address: the page takes everything up again.
	l, err := net.Listen("tcp", strings.TrimSuffix(strings.TrimPrefix(url, "http://"), "/"))
	require.NoError(t, err)
	again, end := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- s.Serve(again, l) }()
	panel.shows("word", "NO POWER")
	panel.is(`document.body.dataset.live === 'yes'`)
	end()
	require.NoError(t, <-served)
}

func due(u *unit) string {
	left, _ := u.state.TimeLeft(&u.set)
	return u.at.Add(left).Format("15:04")
}

func mustLeft(t *testing.T, u *unit) time.Duration {
	left, ok := u.state.TimeLeft(&u.set)
	require.True(t, ok)
	return left
}

// measure takes the letters' heights from the picture itself, and the sizes of what is touched from the layout.
func measure(t *testing.T, p *tab) {
	const mm = 149 / 25.4
	picture := p.shot("measured")
	for what, c := range map[string]struct {
		selector string
		least    float64
	}{
		"state word": {"#word", 25}, "countdown": {"#left", 25},
		"product": {"[data-t=product]", 9.3}, "feed": {"[data-t=feed]", 9.3}, "flow": {"[data-t=flow]", 9.3},
		"small label": {".feed h2", 3.3},
	} {
		h := float64(inked(p, picture, c.selector)) / mm
		t.Logf("%s: %.1f mm", what, h)
		assert.GreaterOrEqual(t, h, c.least, what)
	}
	// Whatever is written has capitals of at least 3.3 mm; the sentence 4.5 mm.
	small := ask[[]string](p, fmt.Sprintf(`[...document.querySelectorAll('body *')].filter(el => el.checkVisibility() && !el.closest('.unseen, svg') &&
		[...el.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && parseFloat(getComputedStyle(el).fontSize) * 0.7 < 3.3 * %f).map(el => el.outerHTML)`, mm))
	assert.Empty(t, small)
	assert.GreaterOrEqual(t, ask[float64](p, `parseFloat(getComputedStyle(document.querySelector('.sentence')).fontSize) * 0.7`), 4.5*mm)
	assert.Equal(t, "cap-height 0.7", ask[string](p, `getComputedStyle(document.body).fontSizeAdjust`))
	for _, box := range ask[[][4]float64](p, `[...document.querySelectorAll('.buttons button')].map(b => { const r = b.getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })`) {
		assert.GreaterOrEqual(t, box[2], 15*mm-0.1)
		assert.GreaterOrEqual(t, box[3], 15*mm-0.1)
	}
	assert.GreaterOrEqual(t, ask[float64](p, `(() => { const [a, b] = document.querySelectorAll('.buttons button'); return b.getBoundingClientRect().left - a.getBoundingClientRect().right; })()`), 3*mm-0.1)
}

// inked is the height of an element's letters in pixels: the longest run of rows in its box that hold its text colour.
func inked(p *tab, picture image.Image, selector string) int {
	type place struct {
		X, Y, W, H float64
		Ink        []float64
	}
	at := ask[place](p, fmt.Sprintf(`(() => { const el = document.querySelector(%q), r = el.getBoundingClientRect();
		return {X: r.left, Y: r.top, W: r.width, H: r.height, Ink: getComputedStyle(el)[el.closest('svg') ? 'fill' : 'color'].match(/[\d.]+/g).map(Number)}; })()`, selector))
	rows, run := 0, 0
	for y := int(at.Y); y < int(at.Y+at.H); y++ {
		found := false
		for x := int(at.X); x < int(at.X+at.W) && !found; x++ {
			r, g, b, _ := picture.At(x, y).RGBA()
			near := func(v uint32, want float64) bool { d := float64(v>>8) - want; return d < 40 && d > -40 }
			found = near(r, at.Ink[0]) && near(g, at.Ink[1]) && near(b, at.Ink[2])
		}
		if run++; !found {
			run = 0
		}
		rows = max(rows, run)
	}
	return rows
}

// Every situation, in every language, on the panel PC: nothing sticks out and nothing lies over another, as the server
// renders it (the page's script is kept away, so that the words stay).
func TestEverySituationFitsItsPlace(t *testing.T) {
	b := newBrowser(t)
	for _, language := range words.Languages() {
		u := newUnit()
		s := newScreen(t, u, func(set *Settings) {
			set.Phrases = phrases(t, language)
			set.Order = func(rules.Order) error { return nil }
		})
		u.run(5, time.Second)
		u.analog(signal.ProductConductivity, 1.362)
		u.run(100, time.Second)
		mux := http.NewServeMux()
		mux.HandleFunc("GET /try/{situation}", func(w http.ResponseWriter, r *http.Request) {
			n, _ := strconv.Atoi(r.PathValue("situation"))
			v, x := s.view(), words.Situation(n)
			if timed := x >= words.OffSpec && x <= words.BypassUnread; !timed {
				v.left = -1
			}
			s.headline(v, s.words.Advise(x, &s.set.Watch, &u.set, &u.state, u.at), s.tone(x, s.newest))
			s.render(w, r, "screen.html", v)
		})
		mux.HandleFunc("GET /assets/screen.js", func(http.ResponseWriter, *http.Request) {})
		mux.Handle("/", s)
		server := httptest.NewServer(mux)
		p := b.open(t, server.URL+"/try/0", 1280, 800, "day")
		for i := range words.Situations {
			p.do(chromedp.Navigate(fmt.Sprintf("%s/try/%d", server.URL, i)))
			assert.Empty(t, ask[[]string](p, overflow), "%s %s", language, words.Situation(i))
			p.shot(fmt.Sprintf("all-%s-%02d-%s", language, i, words.Situation(i)))
		}
		server.Close()
	}
}

// Acknowledge is one press, also from the keyboard, and reaches the loop; Why? opens and closes from the keyboard.
func TestButtonsWorkFromTheKeyboard(t *testing.T) {
	b := newBrowser(t)
	u := newUnit()
	orders := make(chan rules.Order, 8)
	s := newScreen(t, u, func(set *Settings) { set.Order = func(o rules.Order) error { orders <- o; return nil } })
	u.analog(signal.ProductConductivity, 1.2)
	u.run(650, time.Second)
	url, _ := serve(t, s)
	p := b.open(t, url, 1280, 800, "")
	p.shows("alarm", "WATER STOPPED - off spec")

	focus := func(id string) {
		for range 10 {
			p.do(chromedp.KeyEvent("\t"))
			if ask[string](p, `document.activeElement.id`) == id {
				return
			}
		}
		t.Fatalf("the tab key never reaches %s", id)
	}
	focus("acknowledge")
	p.do(chromedp.KeyEvent("\r"))
	select {
	case o := <-orders:
		assert.Equal(t, rules.Order{Who: "screen", Verb: rules.Acknowledge, Alarm: alarm.StoppedOffSpec}, o)
		u.orders = []rules.Order{o}
		u.run(1, time.Second)
	case <-time.After(20 * time.Second):
		t.Fatal("no order came")
	}
	p.shows("alarm.phase", "acknowledged")
	assert.Equal(t, "STOPPED. HIGH: WATER STOPPED - off spec, acknowledged", ask[string](p, `document.getElementById('announce').textContent`))

	focus("ask")
	p.do(chromedp.KeyEvent("\r"))
	p.is(`document.getElementById('why').matches(':popover-open')`)
	p.shows("why", "Off spec for 10 min without a break.")
	p.shot("why")
	p.do(chromedp.KeyEvent("\u001b"))
	p.is(`!document.getElementById('why').matches(':popover-open')`)

	focus("look")
	was := ask[string](p, `document.getElementById('look').textContent`)
	p.do(chromedp.KeyEvent("\r"))
	p.is(`document.getElementById('look').textContent !== '` + was + `'`)
	p.is(`document.cookie.includes('look=night')`)
	p.do(chromedp.Navigate(url + "about"))
	assert.Equal(t, "night", ask[string](p, `document.documentElement.dataset.look`))
	assert.Equal(t, 11, ask[int](p, `document.querySelectorAll('.cautions li').length`))
	p.whole("about")
	p.quiet()
}
