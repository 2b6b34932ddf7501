package configs

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// setupFields are the keys of setup: how the trailer is set up, as far as no contact shows it.
var setupFields = []field[rules.Setup]{
	wholeField(Key{Path: "hoses", Unit: "hoses on each side", Default: "0", Example: "2", Meaning: "how many are connected, 1 or 2; 0 = not recorded"},
		0, 2, func(p *rules.Setup, n int64) { p.Hoses = int(n) }),
	quantityField(Key{Path: "no_flow", Default: "1 gpm", Example: "2 gpm", Meaning: "below it water stands"},
		signal.FlowRate, false, func(p *rules.Setup) *float64 { return &p.NoFlow }),
	durationField(Key{Path: "standing", Default: "30m", Example: "2h", Meaning: "a bed that stood for so long gives worse water at first"},
		time.Second, forever, func(p *rules.Setup) *time.Duration { return &p.Standing }),
	durationField(Key{Path: "rinse_up", Default: "15m", Example: "20m", Meaning: "... for so long; 0s = it does not"},
		0, 24*time.Hour, func(p *rules.Setup) *time.Duration { return &p.RinseUp }),
	quantityField(Key{Path: "relief_rate", Default: "0", Example: "100 gpm", Meaning: "what leaves by the open relief, as agreed; 0 = nothing agreed"},
		signal.FlowRate, false, func(p *rules.Setup) *float64 { return &p.ReliefRate }),
	quantityField(Key{Path: "totalizer_modulus", Default: "0", Example: "10000000 gal", Meaning: "where the totalizer begins anew at zero; 0 = never"},
		signal.Volume, false, func(p *rules.Setup) *float64 { return &p.TotalizerModulus }),
	quantityField(Key{Path: "totalizer_most", Default: "500 gpm", Example: "400 gpm", Meaning: "most that can pass the flow meter: tells a totalizer that began anew from one that was reset"},
		signal.FlowRate, false, func(p *rules.Setup) *float64 { return &p.TotalizerMost }),
}
