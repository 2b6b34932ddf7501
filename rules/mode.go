package rules

// Mode is the state of the shutdown rule.
type Mode uint8

// The five modes.
const (
	NoPower Mode = iota // no control power: the inlet is shut, the relief is not driven
	Service             // on spec, water flows
	Delay               // off spec, the delay runs, water flows
	Bypass              // a press gave more time, water flows
	Shut                // the rule stopped the water; the relief is open

	Modes int = iota // how many modes there are
)

var modeNames = [Modes]string{NoPower: "no_power", Service: "service", Delay: "delay", Bypass: "bypass", Shut: "shut"}

func (m Mode) String() string {
	if int(m) < Modes {
		return modeNames[m]
	}
	return "?"
}

// Valve is what the rule asks of a valve.
type Valve uint8

// NotDriven means that the valve has no supply and stands as its spring leaves it.
const (
	NotDriven Valve = iota
	Open
	Closed
)

var valveNames = [...]string{NotDriven: "not_driven", Open: "open", Closed: "shut"}

func (v Valve) String() string { return valveNames[v] }

// Outputs are what the wired panel does in a mode; the inlet without power is shut by its spring.
type Outputs struct {
	Inlet  Valve
	Relief Valve
}

// Outputs gives the valve positions of the mode.
func (m Mode) Outputs() Outputs {
	switch m {
	case NoPower:
		return Outputs{Inlet: Closed, Relief: NotDriven}
	case Shut:
		return Outputs{Inlet: Closed, Relief: Open}
	default:
		return Outputs{Inlet: Open, Relief: Closed}
	}
}
