package probe

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// Pick is a signal with the ways to read it, the likeliest first.
type Pick struct {
	ID      signal.ID
	Guesses []Guess
}

// Choose takes the likeliest guess for each signal so that they go together: an instrument has one word order, and no
// register belongs to two signals. Signals come in the order given; one for which nothing is left has no guess.
func Choose(picks []Pick) []Pick {
	var out []Pick
	order, ordered := modbus.ABCD, false
	taken := map[int]bool{}
	for _, p := range picks {
		left := Pick{ID: p.ID}
		for _, g := range p.Guesses {
			if ordered && g.Order != order && !(g.Type.Words() == 1 && swapsBytes(g.Order) == swapsBytes(order)) {
				continue
			}
			free := true
			for k := range g.Type.Words() {
				free = free && !taken[g.Register+k]
			}
			if free {
				left.Guesses = append(left.Guesses, g)
			}
		}
		if len(left.Guesses) > 0 {
			best := left.Guesses[0]
			for k := range best.Type.Words() {
				taken[best.Register+k] = true
			}
			// One register alone does not tell the order of words; several do.
			if best.Type.Words() > 1 || swapsBytes(best.Order) {
				order, ordered = best.Order, true
			}
		}
		out = append(out, left)
	}
	return out
}

func swapsBytes(o modbus.Order) bool { return o == modbus.BADC || o == modbus.DCBA }

// alternatives is how many further guesses a block shows.
const alternatives = 3

// YAML writes a unit file with one instrument that reads the chosen signals. The trailer's id and, where there are
// several ways to read a signal, the choice are left to a person.
func YAML(address modbus.Address, unitID uint8, kind modbus.Kind, chosen []Pick) string {
	order := modbus.ABCD
	for _, p := range chosen {
		if len(p.Guesses) > 0 && (p.Guesses[0].Type.Words() > 1 || swapsBytes(p.Guesses[0].Order)) {
			order = p.Guesses[0].Order
		}
	}
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# Guessed from what one reading showed: compare each number")
	line("# with the instrument's own display before you trust it.")
	line("trailer: T-00  # the trailer's own id")
	line("instruments:")
	line("  probed:")
	line("    address: %s", address)
	line("    unit_id: %d", unitID)
	line("    word_order: %s", order)
	line("    signals:")
	for _, p := range chosen {
		if len(p.Guesses) == 0 {
			line("      # %s: nothing here could be it", p.ID)
			continue
		}
		best := p.Guesses[0]
		line("      %s:  # read %s %s", p.ID, Digits(best.Value), best.Unit.Symbol)
		line("        register: %d", best.Register)
		line("        kind: %s", kind)
		line("        type: %s", best.Type)
		if best.Scale != 1 {
			line("        scale: %g", best.Scale)
		}
		if best.Unit.Symbol != "" {
			line("        unit: %s", best.Unit.Symbol)
		}
		for k, g := range p.Guesses[1:] {
			if k == alternatives {
				break
			}
			line("        # or %s", g)
			line("        #    read %s %s", Digits(g.Value), g.Unit.Symbol)
		}
	}
	return b.String()
}

// Digits writes a number in at most eleven characters: whole ones in full where they fit, others with four digits.
func Digits(x float64) string {
	switch size := math.Abs(x); {
	case x == math.Trunc(x) && size < 1e10:
		return strconv.FormatFloat(x, 'f', 0, 64)
	case size >= 1e-3 && size < 1e9:
		return strconv.FormatFloat(x, 'f', min(6, max(0, 3-int(math.Floor(math.Log10(size))))), 64)
	default:
		return strconv.FormatFloat(x, 'g', 4, 64)
	}
}
