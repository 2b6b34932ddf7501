package replay

import (
	"encoding/json"
	"time"

	"ionward/agent/trace"
	"ionward/rules"
)

// seconds prints as a JSON number with no more digits than needed.
type seconds time.Duration

// MarshalJSON writes the number.
func (s seconds) MarshalJSON() ([]byte, error) { return appendSeconds(nil, int64(s)), nil }

var _ json.Marshaler = seconds(0)

// Summary is the last line of a replay.
type Summary struct {
	Kind        string  `json:"kind"`
	Rows        int     `json:"rows"`
	Seconds     seconds `json:"seconds"` // from the first row to the last
	Trips       int     `json:"trips"`
	Bypasses    int     `json:"bypasses"` // accepted presses
	PowerLosses int     `json:"power_losses"`
	RowsDamaged int     `json:"rows_damaged"`
	In          struct {
		Service seconds `json:"service"`
		Delay   seconds `json:"delay"`
		Bypass  seconds `json:"bypass"`
		Shut    seconds `json:"shut"`
		NoPower seconds `json:"no_power"`
	} `json:"seconds_in"`
	M3 struct {
		OnSpec        float64 `json:"on_spec"`
		OffSpecDelay  float64 `json:"off_spec_delay"`
		OffSpecBypass float64 `json:"off_spec_bypass"`
		Unknown       float64 `json:"unknown"`
		Rinse         float64 `json:"rinse"`
		InletShut     float64 `json:"inlet_shut"`
	} `json:"m3"`
	SecondsNotMeasured  seconds  `json:"seconds_not_measured"`
	ProductMax          *float64 `json:"product_max"`           // uS/cm; null where there was no good reading
	ProductFlowWeighted *float64 `json:"product_flow_weighted"` // uS/cm; null where nothing was delivered
	M3Uncertain         float64  `json:"m3_uncertain"`          // part of m3 that was read below what the meter can tell
	M3Relief            *float64 `json:"m3_relief"`             // left by the relief; null where neither metered nor a rate agreed
	ReliefEstimated     bool     `json:"relief_estimated"`      // time of relief x the agreed rate, in none of m3; else metered
	Alarms              *Alarms  `json:"alarms,omitempty"`
}

func summarise(r *trace.Reader, set *rules.Settings, s *rules.State) Summary {
	c := &s.Custody
	sum := Summary{Kind: "summary", Rows: r.Rows, Trips: s.Trips, Bypasses: s.Bypasses, PowerLosses: s.PowerLosses, RowsDamaged: r.Hurt}
	sum.In.Service = seconds(c.In[rules.Service])
	sum.In.Delay = seconds(c.In[rules.Delay])
	sum.In.Bypass = seconds(c.In[rules.Bypass])
	sum.In.Shut = seconds(c.In[rules.Shut])
	sum.In.NoPower = seconds(c.In[rules.NoPower])
	for _, d := range c.In {
		sum.Seconds += seconds(d)
	}
	sum.M3.OnSpec = c.Volume(rules.ToOnSpec)
	sum.M3.OffSpecDelay = c.Volume(rules.ToOffSpecDelay)
	sum.M3.OffSpecBypass = c.Volume(rules.ToOffSpecBypass)
	sum.M3.Unknown = c.Volume(rules.ToUnknown)
	sum.M3.Rinse = c.Volume(rules.ToRinse)
	sum.M3.InletShut = c.Volume(rules.ToInletShut)
	sum.M3Uncertain = c.UncertainVolume()
	if relief, estimated, known := c.ReliefVolume(set); known {
		sum.M3Relief, sum.ReliefEstimated = &relief, estimated
	}
	sum.SecondsNotMeasured = seconds(c.Unmeasured)
	if c.HasMax {
		v := c.Max
		sum.ProductMax = &v
	}
	if v, ok := c.FlowWeighted(); ok {
		sum.ProductFlowWeighted = &v
	}
	return sum
}
