package water

import (
	"cmp"

	"ionward/rules/signal"
)

// Mode is a way to bring a conductivity from its temperature to 25 C.
type Mode uint8

// The modes.
const (
	None        Mode = iota // the reading is what the water has at its own temperature
	Linear                  // k/(1 + a(t-25)); 0 to 100 C
	Salt                    // by the ratio of dilute sodium chloride, SaltRatio; 0 to 100 C
	PrintedSalt             // by PrintedSaltRatio, which instruments call NaCl; 0 to 100 C
	Ultrapure               // salt and pure water each by its own law; 0 to 100 C
	Natural                 // NaturalFactor; 0 to 35.9 C
	Modes       int  = iota // how many there are
)

var modeNames = [Modes]string{"none", "linear", "nacl", "nacl_iec", "ultrapure", "natural"}

// String is the mode's name in settings.
func (m Mode) String() string {
	if int(m) >= Modes {
		return "?"
	}
	return modeNames[m]
}

// ParseMode finds a mode by its name.
func ParseMode(name string) (Mode, bool) {
	for i, n := range modeNames {
		if n == name {
			return Mode(i), true
		}
	}
	return None, false
}

// Compensation is a mode with its setting.
type Compensation struct {
	Mode  Mode
	Slope float64 // of Linear only: change for each C over the conductivity at 25 C; 0.019 to 0.021 is usual
}

// DefaultFor is the compensation that suits the water of a signal: natural water for feed, ultrapure for product, since
// linear or salt compensation errs by tens of percent where pure water itself conducts. Any other signal gives a
// *RangeError. Source: [ISO 7888] for feed; for product the two-part law, common practice below 10 uS/cm.
func DefaultFor(id signal.ID) (Compensation, error) {
	switch id {
	case signal.FeedConductivity:
		return Compensation{Mode: Natural}, nil
	case signal.ProductConductivity:
		return Compensation{Mode: Ultrapure}, nil
	}
	return Compensation{}, &RangeError{What: "signal number that is no conductivity", Value: float64(id), High: float64(signal.ProductConductivity)}
}

// tooPure is the share of the conductivity of pure water below which nothing is taken for water: less cannot be, but
// a thermometer 4 C off or a worn cell constant reads so. A drained cell reads far less. [own]
const tooPure = 0.8

// law is raw = k25*ratio + rest at a temperature; each mode is one.
type law struct{ ratio, rest, least float64 }

// at gives the law for a temperature. It fails for one out of the mode's range (see Mode), and for a slope that is not
// within 0 to 0.05 or brings the ratio below 0.2.
func (c Compensation) at(t Celsius) (law, error) {
	x := float64(t)
	if c.Mode == Natural {
		return law{ratio: naturalRatio(x)}, natural(t)
	}
	if err := t.liquid(); err != nil {
		return law{}, err
	}
	switch c.Mode {
	case None:
		return law{ratio: 1}, nil
	case Linear:
		l := law{ratio: 1 + c.Slope*(x-25)}
		return l, cmp.Or(within("slope", c.Slope, 0, 0.05, "1/C"), within("ratio of linear compensation", l.ratio, 0.2, 5, ""))
	case Salt:
		return law{ratio: salt(x)}, nil
	case PrintedSalt:
		return law{ratio: between(printedRatio, x)}, nil
	case Ultrapure:
		p := pure(x)
		l := law{ratio: salt(x), least: tooPure * p}
		l.rest = p - pure25*l.ratio
		return l, nil
	}
	return law{}, &RangeError{What: "number for a compensation mode", Value: float64(c.Mode), High: float64(Modes - 1)}
}

func (l law) check(raw Conductivity) error {
	return within("uncompensated conductivity", raw, Conductivity(l.least), 5e6, "uS/cm")
}

// To25 brings a raw conductivity at t to 25 C. None returns it unchanged. Range: t as the mode has it, raw 0 to 5e6 uS/cm,
// for Ultrapure at least 0.8 of pure water at t (less means a drained cell or a wrong thermometer); a *RangeError outside.
// Source: as the modes have it. [McC11] with [R11-24] for Ultrapure.
func (c Compensation) To25(raw Conductivity, t Celsius) (Conductivity, error) {
	l, err := c.at(t)
	if err = cmp.Or(err, l.check(raw)); err != nil {
		return 0, err
	}
	return Conductivity((float64(raw) - l.rest) / l.ratio), nil
}

// From25 is the other way: the raw conductivity at t of water that has k25 at 25 C. Range, errors and source as To25.
func (c Compensation) From25(k25 Conductivity, t Celsius) (Conductivity, error) {
	l, err := c.at(t)
	if err != nil {
		return 0, err
	}
	raw := Conductivity(float64(k25)*l.ratio + l.rest)
	if err := l.check(raw); err != nil {
		return 0, err
	}
	return raw, nil
}
