package water_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules/water"
)

// python is Debian's, for which python3-iapws is packaged; another one may come first in the path.
const python = "/usr/bin/python3"

// need skips where the library is missing, except where somebody insists that nothing is skipped.
func need(t *testing.T) {
	t.Helper()
	if found, err := exec.CommandContext(t.Context(), python, "-c", "import iapws").CombinedOutput(); err != nil {
		if os.Getenv("IONWARD_NO_SKIP") != "" {
			t.Fatalf("python3-iapws is missing, and IONWARD_NO_SKIP is set: %v %s", err, found)
		}
		t.Skip("python3-iapws is not installed (Debian: apt-get install python3-iapws)")
	}
}

// grid prints, for 0 to 100 C, density by IAPWS-IF97, pKw by the superseded R11-07, viscosity by R12-08 and the
// conductivity of pure water by G1-90 with that pKw; and pKw over other densities, from steam to dense water, besides.
const grid = `
import json
from iapws import IAPWS97
from iapws._iapws import _Conductivity, _Kw, _Viscosity
line, plane = [], []
for i in range(0, 401):
    t = i / 4
    T = max(t, 0.01) + 273.15
    w = IAPWS97(T=T, P=0.101325) if t <= 99.9 else IAPWS97(T=T, x=0)
    line.append([T - 273.15, w.rho, float(_Kw(w.rho, T)), _Viscosity(w.rho, T) * 1e3, float(_Conductivity(w.rho, T)) * 1e4])
for t in range(1, 800, 25):
    for rho in list(range(50, 1250, 50)):
        plane.append([t, rho, float(_Kw(rho, t + 273.15))])
print(json.dumps({"line": line, "plane": plane}))
`

// Another implementation, by other people, of what releases it has: the densities, the viscosities, and the older pKw.
func TestAgainstALibrary(t *testing.T) {
	need(t)
	command := exec.CommandContext(t.Context(), python, "-W", "ignore", "-c", grid)
	var trouble bytes.Buffer
	command.Stderr = &trouble
	text, err := command.Output()
	require.NoError(t, err, trouble.String())
	var got struct {
		Line  [][5]float64
		Plane [][3]float64
	}
	require.NoError(t, json.Unmarshal(text, &got))
	require.Len(t, got.Line, 401)
	require.Greater(t, len(got.Plane), 700)

	worst := struct{ rho, pKw, hot, viscosity, pure, plane float64 }{}
	for _, l := range got.Line {
		c := water.Celsius(min(l[0], 100))
		rho := float64(ok(water.DensityOf(c)))
		worst.rho = max(worst.rho, abs(rho-l[1]))
		pKw := abs(ok(water.PKw(water.Density(l[1]), c)) - l[2])
		if c <= 60 {
			worst.pKw = max(worst.pKw, pKw)
		} else {
			worst.hot = max(worst.hot, pKw)
		}
		worst.viscosity = max(worst.viscosity, abs(ok(water.ViscosityOf(c))/l[3]-1))
		worst.pure = max(worst.pure, abs(float64(ok(water.Pure(c)))/l[4]-1))
	}
	for _, l := range got.Plane {
		worst.plane = max(worst.plane, abs(ok(water.PKw(water.Density(l[1]), water.Celsius(l[0])))-l[2]))
	}
	assert.Less(t, worst.rho, 0.015, "kg/m3: Kell 1975 against IAPWS-IF97")
	assert.Less(t, worst.pKw, 0.0006, "pKw at 0 to 60 C: R11-24 against R11-07")
	assert.Less(t, worst.hot, 0.002, "pKw at 60 to 100 C")
	assert.Less(t, worst.viscosity, 0.004, "Kestin 1978 against IAPWS R12-08")
	assert.Less(t, worst.pure, 0.065, "conductivity of pure water against G1-90")
	assert.Less(t, worst.plane, 1.3)
	assert.Greater(t, worst.plane, 0.5, "the two releases must differ in thin steam, or one was compared with itself")
	t.Logf("largest differences: density %.4f kg/m3; pKw %.5f to 60 C, %.5f to 100 C, %.2f anywhere to 776 C (the older release); viscosity %.2f %%; pure water %.1f %% (G1-90)",
		worst.rho, worst.pKw, worst.hot, worst.plane, 100*worst.viscosity, 100*worst.pure)
}

func abs(x float64) float64 { return max(x, -x) }
