package water

import (
	"cmp"
	"math"
)

// Blending is linear in conductivity: exact for neutral salts (0.3 % at 2 uS/cm) and a cautious upper bound otherwise,
// since acid and alkali take each other away. It is no bound where a weak base meets a weak acid, and none of this holds
// the carbon dioxide that a tank takes from the air (AirSaturated).

// Tank is the user's tank.
type Tank struct {
	Volume Volume       // m3 of water in it; above 0
	Water  Conductivity // uS/cm at 25 C
}

func (t Tank) check() error { return cmp.Or(t.Volume.positive(), t.Water.check()) }

// Held is the water in the tank after a volume of another was fed while the level was held by an equal outflow. Range: tank
// as its fields say, fed 0 to 1e9 m3, conductivity 0 to 2e6 uS/cm; a *RangeError outside. Source: V dC/dt = Q (Cin - C),
// ideal mixing.
func (t Tank) Held(fed Volume, in Conductivity) (Conductivity, error) {
	if err := cmp.Or(t.check(), fed.check(), in.check()); err != nil {
		return 0, err
	}
	// Not in + (k0 - in) exp(-V): a little of a bad water in a big tank would lose its digits.
	return t.Water + (t.Water-in)*Conductivity(math.Expm1(float64(-fed/t.Volume))), nil
}

// Filled is the water in the tank after a volume of another was fed with no outflow. Range, errors and source as Held.
func (t Tank) Filled(fed Volume, in Conductivity) (Tank, error) {
	if err := cmp.Or(t.check(), fed.check(), in.check()); err != nil {
		return Tank{}, err
	}
	all := t.Volume + fed
	share := Conductivity(fed / all)
	return Tank{all, t.Water*(1-share) + in*share}, nil
}

// Bears is the volume of a worse water that may be fed, the level held, until the tank comes to a limit; +Inf if it never
// does, 0 if it is there already. Range, errors and source as Held.
func (t Tank) Bears(in, limit Conductivity) (Volume, error) {
	if err := cmp.Or(t.check(), in.check(), limit.check()); err != nil {
		return 0, err
	}
	switch {
	case t.Water >= limit:
		return 0, nil
	case in <= limit:
		return Volume(math.Inf(1)), nil
	}
	return t.Volume * Volume(ln((in-t.Water)/(in-limit))), nil
}

// Part is one of the waters of a mixture.
type Part struct {
	Volume Volume       // m3
	Water  Conductivity // uS/cm at 25 C
}

// Mix is the flow-weighted mean, sum(k q dt)/sum(q dt). Range: volumes 0 to 1e9 m3 that are not all 0, conductivities 0 to
// 2e6 uS/cm; a *RangeError outside. Source: mass balance.
func Mix(parts ...Part) (Conductivity, error) {
	sum, weighted := 0.0, 0.0
	for _, p := range parts {
		if err := cmp.Or(p.Volume.check(), p.Water.check()); err != nil {
			return 0, err
		}
		sum += float64(p.Volume)
		weighted += float64(p.Volume) * float64(p.Water)
	}
	if err := within("volume of the whole mixture", sum, tiny, 1e12, "m3"); err != nil {
		return 0, err
	}
	return Conductivity(weighted / sum), nil
}
