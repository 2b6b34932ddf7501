package rules

import (
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// hoverBand is how near to the endpoint a reading hovers: a tenth of it, on either side (own judgement).
const hoverBand = 0.1

// Advice appends what should be set up otherwise while the trailer runs, the most urgent first: codes and numbers. It
// looks at what holds this instant; the alarms wait for their delays, a person who stands at the trailer need not.
func (s *State) Advice(set *Settings, list []Reason) []Reason {
	if !s.Started {
		return list
	}
	list = s.adviseFlow(set, list)
	list = s.adviseBed(list)
	product := s.Signals[signal.ProductConductivity].Value
	near := s.reads(signal.ProductConductivity) && product >= set.Endpoint*(1-hoverBand) && product <= set.Endpoint*(1+hoverBand)
	if d := &set.Alarms[alarm.Hovering]; s.stands(alarm.Hovering) {
		list = append(list, Reason{Code: DelayRestarted, Value: d.Limit, For: d.On})
	} else if near && !s.stopped() {
		list = append(list, Reason{Code: EndpointNear, Value: product, Limit: set.Endpoint})
	}
	if limit := set.Alarms[alarm.BypassRepeated].Limit; s.Chain > 0 && float64(s.Chain) >= limit {
		list = append(list, Reason{Code: BypassesInARow, Value: float64(s.Chain)})
	}
	if s.Watch.Cycled {
		list = append(list, Reason{Code: PowerCycledShut})
	}
	return list
}

// adviseFlow compares the flow with banks and hoses, and with what the meter can read.
func (s *State) adviseFlow(set *Settings, list []Reason) []Reason {
	if !s.reads(signal.Flow) {
		return list
	}
	flow := s.Signals[signal.Flow].Value
	low, high := set.Alarms[alarm.FlowTooLow].Limit, set.Alarms[alarm.FlowTooHigh].Limit
	switch code := s.narrow(set); {
	case flow > high && code != NoReason:
		return append(list, Reason{Code: code, Value: flow, Limit: high})
	case flow > high && set.Setup.Hoses == 0:
		return append(list, Reason{Code: FlowNeedsTwoHoses, Value: flow, Limit: high})
	case flow > 0 && flow < low && !s.stopped() && !s.reads(signal.DownstreamFlow):
		return append(list, Reason{Code: FlowNeedsNextMeter, Value: flow, Limit: low})
	}
	return list
}

// adviseBed tells of a bed that stood and gives worse water until it is rinsed up.
func (s *State) adviseBed(list []Reason) []Reason {
	var worst Reason
	for i := range s.Watch.Beds {
		if bed := &s.Watch.Beds[i]; bed.Runs && bed.Until-s.Elapsed > worst.Left {
			worst = Reason{Code: BedStood, For: bed.Stood, Left: bed.Until - s.Elapsed}
		}
	}
	if worst.Code != NoReason {
		list = append(list, worst)
	}
	return list
}
