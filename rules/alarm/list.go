package alarm

import "time"

// gpm is one US gallon a minute in m3/h (NIST SP 811: 231 cubic inches).
const gpm float64 = 3.785411784 * 60 / 1000

const (
	second = time.Second
	minute = time.Minute
	hour   = time.Hour
	day    = 24 * time.Hour
)

// Defaults is the rationalised list as a unit comes. The numbers are common practice of the trade, each a setting. Alarms
// about valves have no on-delay here: their travel time is part of the condition, and of the panel profile.
func Defaults() Table {
	return Table{
		OffSpec:            {Row: "A01", Name: "off-spec", Priority: High, On: 5 * second, Off: 60 * second, Respond: 5 * minute},
		StoppedOffSpec:     {Row: "A02", Name: "stopped-off-spec", Priority: High, Second: Medium, Latch: true, Respond: 10 * minute},
		BypassOn:           {Row: "A03", Name: "bypass-on", Priority: Medium, Respond: 5 * minute},
		DidNotShut:         {Row: "A04", Name: "did-not-shut", Priority: High, Latch: true, Respond: 2 * minute},
		ControlPowerLost:   {Row: "A05", Name: "control-power-lost", Priority: High, Second: Medium, On: 2 * second, Off: 10 * second, Respond: 10 * minute},
		DidNotOpen:         {Row: "A06", Name: "did-not-open", Priority: Medium, Respond: 10 * minute},
		MovedUnasked:       {Row: "A07", Name: "moved-unasked", Priority: Medium, On: 10 * second, Latch: true, Respond: 10 * minute},
		ReliefOpen:         {Row: "A08", Name: "relief-open", Priority: Medium, Respond: 10 * minute},
		ProductReadingLost: {Row: "A09", Name: "product-reading-lost", Priority: Medium, On: 30 * second, Off: 30 * second, Respond: 10 * minute},
		Swapped:            {Row: "A10", Name: "swapped", Priority: Medium, On: 5 * minute, Latch: true, Ratio: 0.10, Respond: 15 * minute},
		SettingsChanged:    {Row: "A11", Name: "settings-changed", Priority: Medium, Latch: true, Respond: 30 * minute},
		TooLow: {Row: "A12", Name: "too-low", Priority: Medium, On: 5 * minute, Respond: 30 * minute,
			Measure: Conductivity, Limit: 0.05, Band: 0.01},
		Frozen: {Row: "A13", Name: "frozen", Priority: Low, On: 30 * minute, Window: true, Respond: 30 * minute},
		Hovering: {Row: "A14", Name: "hovering", Priority: Low, On: 30 * minute, Window: true, Off: 2 * hour, Respond: 30 * minute,
			Measure: Times, Limit: 3},
		BypassRepeated: {Row: "A15", Name: "bypass-repeated", Priority: Low, Off: 30 * minute, Respond: 30 * minute, Measure: Times, Limit: 3},
		FlowTooHigh: {Row: "A16", Name: "flow-too-high", Priority: Medium, On: 60 * second, Respond: 5 * minute,
			Measure: FlowRate, Limit: 150 * gpm, Band: 8 * gpm},
		FlowTooLow: {Row: "A17", Name: "flow-too-low", Priority: Low, On: 5 * minute, Respond: 30 * minute,
			Measure: FlowRate, Limit: 50 * gpm, Band: 5 * gpm},
		FlowWhileShut: {Row: "A18", Name: "flow-while-shut", Priority: Low, On: 60 * second, Off: 30 * second, Respond: 15 * minute,
			Measure: FlowRate, Limit: 50 * gpm},
		TotalsDisagree: {Row: "A19", Name: "totals-disagree", Priority: Low, On: hour, Window: true, Respond: day,
			Measure: Percent, Limit: 5, Band: 2.5},
		Temperature: {Row: "A20", Name: "temperature", Priority: Low, On: 60 * second, Respond: 15 * minute,
			Measure: Celsius, Limit: 2, High: 40, Band: 1},
		FeedWorse:        {Row: "A21", Name: "feed-worse", Priority: Low, On: 15 * minute, Respond: day, Measure: Conductivity, Ratio: 0.05},
		ReliefDidNotOpen: {Row: "A22", Name: "relief-did-not-open", Priority: High, Respond: 2 * minute},
		ProductRising: {Row: "A23", Name: "product-rising", Priority: Low, On: 5 * minute, Respond: day,
			Measure: Percent, Limit: 50, Ratio: 0.10},
		ExchangeDue:    {Row: "A24", Name: "exchange-due", Priority: Medium, On: 30 * minute, Respond: day, Measure: Hours, Ratio: 0.25},
		ReliefRunning:  {Row: "A25", Name: "relief-running", Priority: Medium, On: 30 * minute, Respond: 15 * minute},
		OnBattery:      {Row: "A26", Name: "on-battery", Priority: Low, On: 10 * second, Off: 10 * second, Respond: 30 * minute},
		StoreFull:      {Row: "A27", Name: "store-full", Priority: Low, On: 60 * second, Respond: day},
		BypassQuestion: {Name: "was-bypass-pressed", Priority: Medium, Respond: 2 * minute},
	}
}
