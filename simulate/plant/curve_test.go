package plant_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/simulate/plant"
)

// fed300 is the load of a feed of 300 uS/cm at the rule of thumb k/2.5, kg/m3 as CaCO3.
const fed300 = 300 / 2.5 / 1000

// sized is a bank with a mid-point and a spread in gallons of that feed.
func sized(v50, s float64) plant.Bank {
	bank := still().Banks[plant.A]
	bank.Resin, bank.Capacity, bank.Spread = 1, m3(v50)*fed300, s/v50
	return bank
}

// The logistic breakthrough curve against the computed table.
func TestCurve(t *testing.T) {
	bank := sized(100000, 2500)
	for _, row := range table(t, "breakthrough.csv") {
		slip := bank.Slip(m3(row[0]) * fed300)
		assert.InDelta(t, row[1], slip, 5e-9, "X at %v gal", row[0])
		assert.InDelta(t, row[4], 0.1+(300-0.1)*slip, 6e-6, "uS/cm at %v gal", row[0])
	}
	assert.Equal(t, 0.5, bank.Slip(bank.V50(fed300)*fed300), "X(V50) is one half")
	assert.InDelta(t, 100000, gal(bank.V50(fed300)), 1e-6)
	// 5 % to 95 % takes 2 s ln 19.
	width := 2 * 2500 * math.Log(19)
	low, high := bank.Slip(m3(100000-width/2)*fed300), bank.Slip(m3(100000+width/2)*fed300)
	assert.InDelta(t, 0.05, low, 1e-12)
	assert.InDelta(t, 0.95, high, 1e-12)
	assert.InDelta(t, 14722, width, 0.5)
}

// The capacity closes: all that the bed ever holds is s ln(1+exp(V50/s)), its capacity where the toe is far from zero.
func TestCapacityCloses(t *testing.T) {
	bank := sized(100000, 2500)
	assert.InDelta(t, 100000, gal(bank.Retained(1e6)/fed300), 1e-4)
	wide := sized(1000, 500)
	assert.InDelta(t, 500*math.Log(1+math.Exp(2)), gal(wide.Retained(1e6)/fed300), 1e-6)
}

// 120 ft3 of mixed bed at 10 kgr/ft3 on 300 uS/cm: gallons = kgr/ft3 x ft3 x 1000 / gpg with 1 gpg = 17.11806 mg/L
// gives 171,181 (computed from the trade's published formula).
func TestRunLength(t *testing.T) {
	bank := plant.Defaults().Banks[plant.A]
	assert.InDelta(t, 171181, gal(bank.V50(fed300)), 1)
}

func TestCurveLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bank := sized(rapid.Float64Range(100, 1e6).Draw(t, "v50"), 1)
		bank.Spread = rapid.Float64Range(0.005, 0.3).Draw(t, "spread")
		top := 2 * bank.Resin * bank.Capacity
		a, b := rapid.Float64Range(0, top).Draw(t, "a"), rapid.Float64Range(0, top).Draw(t, "b")
		a, b = min(a, b), max(a, b)
		if bank.Slip(a) > bank.Slip(b) || bank.Slip(a) < 0 || bank.Slip(b) > 1 {
			t.Fatalf("the curve falls or leaves 0..1: X(%g)=%g X(%g)=%g", a, bank.Slip(a), b, bank.Slip(b))
		}
		held := bank.Retained(b) - bank.Retained(a)
		if held < -1e-9*top || held > (b-a)+1e-9*top {
			t.Fatalf("between %g and %g kg the bed took %g kg", a, b, held)
		}
	})
}

// Two banks in parallel: the throughput at which the flow-weighted product crosses 1 uS/cm, with the whole plant running.
func TestTwoBanks(t *testing.T) {
	for _, row := range table(t, "two_banks.csv") {
		set := still()
		set.Feed.Conductivity = 300
		for i := range set.Banks {
			set.Banks[i] = sized(row[1+i], row[3])
		}
		set.Banks[plant.A].Flow, set.Banks[plant.B].Flow = 80*row[0], 80*(1-row[0])
		p := start(t, set)
		p.SelectBanks(true, true)
		before := p.Truth()
		require.InDelta(t, row[0], before.Banks[plant.A].Flow/before.Flow, 1e-12, "share of the flow")
		now := until(t, p, 24*time.Hour, func(now plant.Truth) bool {
			if now.Mixed >= 1 {
				return true
			}
			before = now
			return false
		})
		// Between two seconds the toe is exponential: interpolate its logarithm.
		part := math.Log(1/before.Mixed) / math.Log(now.Mixed/before.Mixed)
		at := before.Volumes.In + part*(now.Volumes.In-before.Volumes.In)
		assert.InDelta(t, row[4], gal(at), 0.1, "share %v, mid-points %v and %v gal", row[0], row[1], row[2])
		assert.InDelta(t, 1, now.Mixed, 0.01)
	}
}
