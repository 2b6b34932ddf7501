package configs

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
)

func TestTheProfileIsRead(t *testing.T) {
	f := load(t, least+`
off_spec: {endpoint: 0.5 uS/cm}
profile:
  timers: {delay_min: 9m52s, delay_max: 10m8s, bypass_min: 9m50s, bypass_max: 10m10s, setpoint: 2 MOhm.cm, confirmed: "Doe, J., 2026-03-14"}
  power_while_shut: {confirmed: "R. Roe, 2026-03-15"}
  relief_without_power: {position: stays}
  travel: {inlet: 12s}
  relief_tee: {place: before the inlet valve, seen_by_meter: true}
  agent_supply: {lost_with_power: true}
`)
	assert.Empty(t, f.Warnings)
	want := rules.DefaultProfile()
	want.Timers = rules.TimerTrial{
		Delay:    rules.Span{Lo: 592 * time.Second, Hi: 608 * time.Second},
		Bypass:   rules.Span{Lo: 590 * time.Second, Hi: 610 * time.Second},
		Setpoint: 0.5, Trial: rules.Trial{Who: "Doe, J.", When: "2026-03-14"},
	}
	want.PowerWhileShut.Trial = rules.Trial{Who: "R. Roe", When: "2026-03-15"}
	want.ReliefWithoutPower.Rest = rules.RestStays
	want.Travel.Inlet = 12 * time.Second
	want.ReliefTee.Place, want.ReliefTee.Seen = "before the inlet valve", true
	want.AgentSupply.Yes = true
	assert.Equal(t, want, f.Rule.Profile)
	assert.Equal(t, 2, f.Rule.Profile.Confirmed())
}

// What the unit does and the rule does not is told when the file is checked, not by an alarm at night.
func TestAProfileThatDiffersFromTheRuleIsAWarning(t *testing.T) {
	for set, want := range map[string]string{
		"profile.power_while_shut.stays_shut=true":    "off_spec.keep_trip says false",
		"profile.short_dip.restarts=false":            "this unit does not",
		"profile.timers.delay_min=11m":                "the unit takes 11m0s to 11m0s",
		"profile.timers.bypass_max=9m":                "the unit takes 9m0s to 9m0s",
		"profile.press_while_running.restarts=true":   "has no effect",
		"profile.timers.confirmed=J. Doe, 2026-03-14": "taken to be exactly as off_spec says",
	} {
		f := load(t, least, set)
		require.Len(t, f.Warnings, 1, set)
		assert.Contains(t, f.Warnings[0].String(), want, set)
		assert.Contains(t, f.Warnings[0].String(), "warning", set)
	}
	// What nobody wrote is assumed to be as the rule is, and so is no contradiction.
	f := load(t, least, "off_spec.keep_trip=true", "off_spec.clear_delay=10s")
	assert.Empty(t, f.Warnings)
	assert.True(t, f.Rule.Profile.PowerWhileShut.Yes)
	assert.False(t, f.Rule.Profile.ShortDip.Yes)
	// A change of the rule for one run contradicts what was written.
	f = load(t, least+"profile: {power_while_shut: {stays_shut: false}}\n", "off_spec.keep_trip=true")
	assert.Len(t, f.Warnings, 1)
}
