package replay

import (
	"fmt"
	"strings"

	"pgregory.net/rapid"
)

// tick is the grain of the drawn traces: so many ticks a second.
const tick = 10

// drawn is a recorded trace and the settings it runs under, before it is written as text.
type drawn struct {
	sets                           []string
	delay, bypass, hold, end, band int // ticks, and counts of 0.001 uS/cm
	keep, dated                    bool
	rows                           []drawnRow
}

type drawnRow struct {
	at                                           int // ticks
	product, quality, power, button, flow, rinse string
}

// draw makes runs of equal cells of random length under a scan that is even, jittered or full of gaps.
func draw(t *rapid.T) drawn {
	d := drawn{
		delay: rapid.IntRange(1, 300).Draw(t, "delay"), bypass: rapid.IntRange(1, 300).Draw(t, "bypass"),
		hold: rapid.SampledFrom([]int{0, 0, 5, 30}).Draw(t, "clear delay"), end: rapid.SampledFrom([]int{1000, 500, 2000, 56}).Draw(t, "endpoint"),
		band: rapid.SampledFrom([]int{0, 0, 1, 20}).Draw(t, "band"), keep: rapid.Bool().Draw(t, "keep"), dated: rapid.Bool().Draw(t, "dated"),
	}
	d.sets = []string{
		fmt.Sprintf("off_spec.delay=%gs", float64(d.delay)/tick), fmt.Sprintf("off_spec.bypass=%dms", d.bypass*1000/tick),
		fmt.Sprintf("off_spec.clear_delay=%gs", float64(d.hold)/tick), fmt.Sprintf("off_spec.endpoint=%g", float64(d.end)/1000),
		fmt.Sprintf("off_spec.clear_band=%g", float64(d.band)/1000), fmt.Sprintf("off_spec.keep_trip=%v", d.keep),
	}
	d.rows = make([]drawnRow, rapid.IntRange(1, 150).Draw(t, "rows"))
	at := rapid.IntRange(0, 50).Draw(t, "start")
	style := rapid.IntRange(0, 2).Draw(t, "scan style")
	for i := range d.rows {
		d.rows[i].at = at
		switch style {
		case 0:
			at += tick
		case 1:
			at += rapid.IntRange(0, 2*tick).Draw(t, "jitter")
		default:
			at += rapid.SampledFrom([]int{tick, tick, tick, 7 * tick, 65 * tick, 90 * tick}).Draw(t, "gap")
		}
	}
	d.fill(t)
	return d
}

func (d *drawn) fill(t *rapid.T) {
	runs := func(name string, longest int, cells []string, put func(*drawnRow, string)) {
		for i := 0; i < len(d.rows); {
			run, cell := rapid.IntRange(1, longest).Draw(t, name+" run"), rapid.SampledFrom(cells).Draw(t, name)
			for ; run > 0 && i < len(d.rows); run, i = run-1, i+1 {
				put(&d.rows[i], cell)
			}
		}
	}
	end := float64(d.end) / 1000
	near := []string{
		"", "NaN", "-0.1", "3000.001", "0.0004", fmt.Sprint(end), fmt.Sprint(float64(d.end-1) / 1000), fmt.Sprint(2 * end),
		fmt.Sprintf("%.4f", end-0.0005), fmt.Sprintf("%.5f", end-0.00051), fmt.Sprintf("%.3f", end/2),
		fmt.Sprint(float64(d.end-d.band) / 1000), fmt.Sprint(float64(d.end-d.band-1) / 1000),
	}
	runs("product", 30, near, func(r *drawnRow, c string) { r.product = c })
	runs("quality", 20, []string{"", "", "good", "uncertain", "bad"}, func(r *drawnRow, c string) { r.quality = c })
	runs("power", 40, []string{"1", "1", "1", "0", ""}, func(r *drawnRow, c string) { r.power = c })
	runs("button", 12, []string{"0", "0", "1", "", "7"}, func(r *drawnRow, c string) { r.button = c })
	runs("flow", 20, []string{"0", "22.7", "45.4", ""}, func(r *drawnRow, c string) { r.flow = c })
	runs("rinse", 30, []string{"0", "0", "1", ""}, func(r *drawnRow, c string) { r.rinse = c })
}

// text is the trace as a file.
func (d *drawn) text() string {
	var b strings.Builder
	b.WriteString("# drawn\ntime,flow,product_conductivity,product_conductivity.quality,bypass_button,control_power,rinse_open\n")
	for _, r := range d.rows {
		at := fmt.Sprint(float64(r.at) / tick)
		if d.dated {
			s := r.at / tick
			at = fmt.Sprintf("2026-03-01T%02d:%02d:%02d.%d00Z", 12+s/3600, s/60%60, s%60, r.at%tick)
		}
		fmt.Fprintf(&b, "%s,%s,%s,%s,%s,%s,%s\n", at, r.flow, r.product, r.quality, r.button, r.power, r.rinse)
	}
	return b.String()
}
