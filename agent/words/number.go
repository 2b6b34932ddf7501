package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ionward/rules/signal"
)

// Product writes a product conductivity (uS/cm) with its unit: 3 decimals near the endpoint. One that counts as on spec
// is never written as the limit (uS/cm) or above, even where rounding would.
func (p *Phrases) Product(value, limit float64, on bool) string {
	return p.ProductNumber(value, limit, on) + " " + signal.MicrosiemensPerCm.Symbol
}

// ProductNumber is Product without the unit, for places that show the unit beside it.
func (p *Phrases) ProductNumber(value, limit float64, on bool) string {
	decimals := decimals(value)
	if value < 10*limit {
		decimals = max(decimals, 3)
	}
	text := strconv.FormatFloat(value, 'f', decimals, 64)
	if shown, err := strconv.ParseFloat(text, 64); err == nil && on && shown >= limit {
		step := math.Pow10(-decimals)
		text = strconv.FormatFloat(max(0, (math.Ceil(limit/step-1e-9)-1)*step), 'f', decimals, 64)
	}
	return text
}

// Limit writes an endpoint (uS/cm) with its unit, at least 3 decimals.
func (p *Phrases) Limit(v float64) string {
	text := strconv.FormatFloat(v, 'f', -1, 64)
	if _, fraction, _ := strings.Cut(text, "."); len(fraction) < 3 {
		text = strconv.FormatFloat(v, 'f', 3, 64)
	}
	return text + " " + signal.MicrosiemensPerCm.Symbol
}

// Conductivity gives the number and the unit of a conductivity (uS/cm) that is compared with nothing, such as feed.
func (p *Phrases) Conductivity(v float64) (number, unit string) {
	return strconv.FormatFloat(v, 'f', decimals(v), 64), signal.MicrosiemensPerCm.Symbol
}

// decimals keeps about four digits.
func decimals(v float64) int {
	switch v = math.Abs(v); {
	case v < 9.9995:
		return 3
	case v < 99.995:
		return 2
	case v < 999.95:
		return 1
	}
	return 0
}

// Flow gives the number and the unit of a flow (m3/h) as the site wants it: gpm or L/min.
func (p *Phrases) Flow(v float64) (number, unit string) {
	u := signal.GallonPerMinute
	if p.set.Metric {
		u = litrePerMinute
	}
	return strconv.FormatFloat(u.From(v), 'f', 0, 64), u.Symbol
}

// Volume gives the number and the unit of a volume (m3) as the site wants it: gal or m3.
func (p *Phrases) Volume(v float64) (number, unit string) {
	if p.set.Metric {
		return strconv.FormatFloat(v, 'f', 1, 64), signal.CubicMetre.Symbol
	}
	return strconv.FormatFloat(signal.Gallon.From(v), 'f', 0, 64), signal.Gallon.Symbol
}

// Temperature gives the number and the unit of a temperature (C) as the site wants it: F or C.
func (p *Phrases) Temperature(v float64) (number, unit string) {
	u := signal.Fahrenheit
	if p.set.Metric {
		u = signal.Celsius
	}
	return strconv.FormatFloat(u.From(v), 'f', 1, 64), u.Symbol
}

// Quantity writes a number of a quantity, in its inside unit, with the unit that the site wants; a plain number has none.
func (p *Phrases) Quantity(v float64, q signal.Quantity) string {
	number, unit := strconv.FormatFloat(v, 'f', -1, 64), ""
	switch q {
	case signal.Conductivity:
		number, unit = p.Conductivity(v)
	case signal.FlowRate:
		number, unit = p.Flow(v)
	case signal.Volume:
		number, unit = p.Volume(v)
	case signal.Temperature:
		number, unit = p.Temperature(v)
	}
	return strings.TrimSpace(number + " " + unit)
}

var litrePerMinute, _ = signal.ParseUnit("L/min")

// Duration writes a length of time in at most two parts: 45 s, 1 min 30 s, 10 min, 2 h 5 min, 3 d 4 h.
func (p *Phrases) Duration(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	if d < time.Second && d > 0 {
		return sign + p.part("s", strconv.FormatFloat(d.Seconds(), 'f', -1, 64))
	}
	d = d.Truncate(time.Second)
	parts := []struct {
		key  string
		unit time.Duration
	}{{"d", 24 * time.Hour}, {"h", time.Hour}, {"min", time.Minute}, {"s", time.Second}}
	for i, part := range parts {
		if d < part.unit && part.unit > time.Second {
			continue
		}
		text := sign + p.part(part.key, strconv.FormatInt(int64(d/part.unit), 10))
		if i+1 < len(parts) {
			if rest := d % part.unit / parts[i+1].unit; rest > 0 {
				text += " " + p.part(parts[i+1].key, strconv.FormatInt(int64(rest), 10))
			}
		}
		return text
	}
	return ""
}

func (p *Phrases) part(key, n string) string { return p.fill(p.file.Durations[key], names{"n": n}) }

// Age writes how old something is, in one part: 4 s, 12 min, 3 h.
func (p *Phrases) Age(d time.Duration) string {
	key, unit := "d", 24*time.Hour
	switch {
	case d < 100*time.Second:
		key, unit = "s", time.Second
	case d < 100*time.Minute:
		key, unit = "min", time.Minute
	case d < 48*time.Hour:
		key, unit = "h", time.Hour
	}
	return p.part(key, strconv.FormatInt(int64(max(d, 0)/unit), 10))
}

// Countdown writes a time left as m:ss, rounded up, so that 0:00 is shown only at the end.
func Countdown(d time.Duration) string {
	s := int64((max(d, 0) + time.Second - 1) / time.Second)
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// Clock writes a time of day as the site wants it: 14:05 or 2:05 PM.
func (p *Phrases) Clock(t time.Time) string { return p.local(t).Format(p.layout("15:04", "3:04 PM")) }

// ClockSeconds is Clock with seconds.
func (p *Phrases) ClockSeconds(t time.Time) string {
	return p.local(t).Format(p.layout("15:04:05", "3:04:05 PM"))
}

func (p *Phrases) layout(h24, h12 string) string {
	if p.set.Clock12 {
		return h12
	}
	return h24
}

func (p *Phrases) local(t time.Time) time.Time {
	if p.set.Location == nil {
		return t.UTC()
	}
	return t.In(p.set.Location)
}

// Part is the phrase of one unit of time (s, min, h or d) with its number left open as {n}, for a page that counts by
// itself.
func (p *Phrases) Part(unit string) string { return p.file.Durations[unit] }
