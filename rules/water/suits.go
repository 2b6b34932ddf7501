package water

// Suitable is the error up to which an instrument's own compensation counts as suitable, relative to the true value.
// [own]: twice the 2 to 3 % that a cell in the field is good for.
const Suitable = 0.05

// Misfit tells what an instrument's own compensation makes of a water at a temperature.
type Misfit struct {
	Shown Conductivity // by the instrument, compensated its way (or raw, with None)
	Raw   Conductivity // at the temperature of the water
	True  Conductivity // at 25 C, by the compensation that fits the water
	Error float64      // Shown/True - 1
	Suits bool         // the error is at most Suitable, either way
}

// Judge tells from what an instrument shows at t what the water has at 25 C: own is the compensation set in the
// instrument, fits the one for this water (DefaultFor). Range and errors as To25 and From25 of the two; also a
// *RangeError where the true value would be 0 or less. Source: theirs.
func Judge(own, fits Compensation, shown Conductivity, t Celsius) (Misfit, error) {
	raw, err := own.From25(shown, t)
	if err != nil {
		return Misfit{}, err
	}
	k, err := fits.To25(raw, t)
	if err != nil {
		return Misfit{}, err
	}
	return misfit(shown, raw, k)
}

// Foresee tells what the instrument will show of a water with k25 at 25 C once it has the temperature t. Arguments,
// range, errors and source as Judge.
func Foresee(own, fits Compensation, k25 Conductivity, t Celsius) (Misfit, error) {
	raw, err := fits.From25(k25, t)
	if err != nil {
		return Misfit{}, err
	}
	shown, err := own.To25(raw, t)
	if err != nil {
		return Misfit{}, err
	}
	return misfit(shown, raw, k25)
}

func misfit(shown, raw, k Conductivity) (Misfit, error) {
	if err := within("conductivity at 25 C", k, tiny, 5e6, "uS/cm"); err != nil {
		return Misfit{}, err
	}
	m := Misfit{Shown: shown, Raw: raw, True: k, Error: float64(shown/k) - 1}
	m.Suits = m.Error <= Suitable && m.Error >= -Suitable
	return m, nil
}
