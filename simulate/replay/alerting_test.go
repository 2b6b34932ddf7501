package replay

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/signal"
)

// An outside check: the general alert engine of Prometheus, with "for: 10m" on product >= endpoint, and the rule's delay
// agree at every scan on whether an unbroken excursion has lasted ten minutes, over drawn series.
//
// Where they differ by design, and what keeps it out of this comparison: the engine looks only at its evaluations, so the
// scans here are its evaluations, while the rule settles the exact instant in between; the engine forgets an excursion
// at the first good sample, while the rule stays shut until a press, so the rule's timer is compared and not its latch;
// the engine holds a missing sample for five minutes and then resolves, while the rule holds the class and lets time
// pass, so no sample is missing.
func TestAlertEngineAgreesOnTheDelay(t *testing.T) {
	promtool := need(t, "promtool")
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "rules.yml"), []byte(`groups:
- name: water
  rules:
  - alert: OffSpec
    expr: product >= 1
    for: 10m
`), 0o600))
	random := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	b.WriteString("rule_files: [rules.yml]\nevaluation_interval: 15s\ntests:\n")
	fired := 0
	for range 12 {
		fired += drawSeries(&b, random)
	}
	require.Greater(t, fired, 100, "the comparison must see alerts that fire")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "test.yml"), []byte(b.String()), 0o600))
	cmd := exec.Command(promtool, "test", "rules", "test.yml")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "SUCCESS")
}

// drawSeries writes one test: a series of excursions of 8 to 12 minutes and short ones, and for every scan whether the
// rule's delay has run out. It gives at how many scans it had.
func drawSeries(b *strings.Builder, random *rand.Rand) (fired int) {
	const every = 15 * time.Second
	set := rules.Defaults()
	var s rules.State
	var out rules.Effects
	var values, expect strings.Builder
	off := false
	for n, left := 0, 0; n < 400; n, left = n+1, left-1 {
		if left == 0 {
			off = !off
			left = 1 + random.IntN(6)
			if off && random.IntN(3) > 0 {
				left = 32 + random.IntN(16)
			}
		}
		v := 0.999
		if off {
			v = 1 + float64(random.IntN(3))/1000
		}
		in := rules.Input{Scan: true}
		if n > 0 {
			in.Gap = every
		}
		in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(v, signal.Good)
		rules.Step(&set, &s, &in, &out)
		fmt.Fprintf(&values, " %.3f", v)
		alerts := "[]"
		if s.Delay.Q(set.Delay) {
			alerts = "[{exp_labels: {}}]"
			fired++
		}
		fmt.Fprintf(&expect, "  - {eval_time: %ds, alertname: OffSpec, exp_alerts: %s}\n", n*15, alerts)
	}
	fmt.Fprintf(b, "- interval: 15s\n  input_series:\n  - series: product\n    values: \"%s\"\n  alert_rule_test:\n%s", strings.TrimSpace(values.String()), expect.String())
	return fired
}

// need gives the path of a program, or skips a test without it; with IONWARD_NO_SKIP it fails instead.
func need(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("IONWARD_NO_SKIP") != "" {
		require.Fail(t, program+" is not installed, and IONWARD_NO_SKIP is set")
	}
	if err != nil {
		t.Skip(program + " is not installed")
	}
	return path
}
