package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// because is the reason of an alarm: its own code and numbers. Alarms about the stop itself have the reason of the mode.
func (s *State) because(set *Settings, id alarm.ID) Reason {
	if n, ok := id.User(); ok {
		return s.becauseUser(set, n)
	}
	value := func(of signal.ID) float64 { return s.Signals[of].Value }
	product, d := value(signal.ProductConductivity), &set.Alarms[id]
	switch id {
	case alarm.SettingsChanged:
		return Reason{Code: ConstantsDiffer}
	case alarm.Swapped:
		return Reason{Code: ProductAboveFeed, Value: product, Limit: value(signal.FeedConductivity)}
	case alarm.TooLow:
		return Reason{Code: ReadingTooLow, Value: product, Limit: d.Limit}
	case alarm.Frozen:
		return Reason{Code: ReadingFrozen, Value: product, For: s.Elapsed - s.Watch.Moved}
	case alarm.Hovering:
		return Reason{Code: DelayRestarted, Value: d.Limit, For: d.On}
	case alarm.BypassRepeated:
		return Reason{Code: BypassesInARow, Value: float64(s.Chain)}
	case alarm.FlowTooLow:
		return Reason{Code: FlowBelowMeter, Value: value(signal.Flow), Limit: d.Limit}
	case alarm.FlowTooHigh:
		code := FlowAboveOneBank
		if s.narrow(set) == FlowAboveOneHose {
			code = FlowAboveOneHose
		}
		return Reason{Code: code, Value: value(signal.Flow), Limit: d.Limit}
	case alarm.FlowWhileShut:
		return Reason{Code: FlowWithInletShut, Value: value(signal.Flow), Limit: d.Limit}
	case alarm.TotalsDisagree:
		return Reason{Code: TotalsDiffer, Value: s.Watch.Totals.Counted, Limit: s.Watch.Totals.Measured, For: d.On}
	case alarm.Temperature:
		return s.becauseTemperature(d)
	case alarm.FeedWorse:
		return Reason{Code: FeedAboveAgreed, Value: value(signal.FeedConductivity), Limit: d.Limit}
	case alarm.ProductRising:
		return Reason{Code: ProductAbovePart, Value: product, Limit: set.Endpoint * d.Limit / 100}
	case alarm.ExchangeDue:
		return Reason{Code: ExchangeNear, Left: s.Facts.Left, For: time.Duration(d.Limit * float64(time.Hour))}
	case alarm.ReliefRunning:
		return Reason{Code: ReliefRuns, For: s.Elapsed - s.Watch.Dry}
	case alarm.OnBattery:
		return Reason{Code: SupplyLost}
	case alarm.StoreFull:
		return Reason{Code: RecordAtRisk}
	}
	return s.Reason
}

// becauseTemperature tells the temperature that is farthest from where it may be.
func (s *State) becauseTemperature(d *alarm.Definition) Reason {
	low := d.Limit
	if s.stopped() {
		low = max(low, freezing)
	}
	var cold, hot Reason
	for _, id := range [...]signal.ID{signal.FeedTemperature, signal.ProductTemperature} {
		h := &s.Signals[id]
		if !h.Known {
			continue
		}
		if cold.Code == NoReason || h.Value < cold.Value {
			cold = Reason{Code: WaterTooCold, Value: h.Value, Limit: low}
		}
		if hot.Code == NoReason || h.Value > hot.Value {
			hot = Reason{Code: WaterTooHot, Value: h.Value, Limit: d.High}
		}
	}
	if cold.Limit-cold.Value >= hot.Value-hot.Limit {
		return cold
	}
	return hot
}

func (s *State) becauseUser(set *Settings, n int) Reason {
	u, d := &set.Users[n], &set.Alarms[alarm.User(n)]
	r := Reason{Code: UserContact, Value: s.Signals[u.Signal].Value, Limit: d.Limit, For: d.On}
	switch u.Signal.Info().Unit.Quantity {
	case signal.Conductivity:
		r.Code = UserConductivity
	case signal.Temperature:
		r.Code = UserTemperature
	case signal.FlowRate:
		r.Code = UserFlow
	case signal.Volume:
		r.Code = UserVolume
	}
	return r
}
