package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Bucket is where a cubic metre of integrated flow belongs; each belongs in exactly one.
type Bucket uint8

// The buckets, in the order in which the first that is true wins.
const (
	ToInletShut     Bucket = iota // flow read while the rule holds the inlet shut
	ToRinse                       // the rinse valve is open
	ToUnknown                     // the product reading is bad, uncertain or missing
	ToOnSpec                      // delivered on spec
	ToOffSpecDelay                // delivered off spec while the delay ran
	ToOffSpecBypass               // delivered off spec in a bypass
	Buckets         int    = iota // how many buckets there are
)

var bucketNames = [Buckets]string{
	ToInletShut: "inlet_shut", ToRinse: "rinse", ToUnknown: "unknown", ToOnSpec: "on_spec",
	ToOffSpecDelay: "off_spec_delay", ToOffSpecBypass: "off_spec_bypass",
}

func (b Bucket) String() string { return bucketNames[b] }

// flowHeld is how long a flow reading stands for the flow after it was taken; from then on time is not measured.
const flowHeld = 60 * time.Second

// Custody accounts for the water. Flow is held between scans (a left-hand sum); a stretch of equal flow, bucket and
// product reading is kept as whole nanoseconds and turned into a volume only when one of them changes, so that cutting
// a gap into pieces changes no bit of any sum.
type Custody struct {
	Volumes    [Buckets]float64     `json:"volumes"` // m3, without the open stretch
	In         [Modes]time.Duration `json:"in"`      // time in each mode
	Unmeasured time.Duration        `json:"unmeasured"`
	Max        float64              `json:"max"`     // highest good product reading, uS/cm
	HasMax     bool                 `json:"has_max"` // a good product reading was seen
	Delivered  float64              `json:"delivered"`
	Weighted   float64              `json:"weighted"` // sum of product reading x volume over Delivered, uS/cm x m3

	Uncertain  float64       `json:"uncertain"`   // m3 of Volumes that passed more slowly than the meter can read
	ReliefTime time.Duration `json:"relief_time"` // time for which the relief was open, as far as is known
	Relief     float64       `json:"relief"`      // m3 of Volumes that passed while it was open

	Bucket  Bucket        `json:"bucket"` // of the open stretch
	Flow    float64       `json:"flow"`   // m3/h of the open stretch
	Product float64       `json:"product"`
	Open    time.Duration `json:"open"` // measured time in the open stretch
	Slow    bool          `json:"slow"` // the flow of the open stretch is below what the meter can read
	Runs    bool          `json:"runs"` // the relief is open in the open stretch
}

// advance lets dt pass in the mode, flow and bucket that hold.
func (c *Custody) advance(s *State, dt time.Duration) {
	c.In[s.Mode] += dt
	flow := &s.Signals[signal.Flow]
	measured := time.Duration(0)
	if flow.Known {
		measured = min(dt, max(0, flow.Seen+flowHeld-s.Elapsed))
	}
	c.Open += measured
	c.Unmeasured += dt - measured
	if c.Runs {
		c.ReliefTime += dt
	}
}

// aim begins a new stretch where flow, bucket, product reading or relief differ from the open one.
func (c *Custody) aim(set *Settings, s *State) {
	bucket, runs := s.bucket(), s.relieves()
	flow, product := s.Signals[signal.Flow].Value, 0.0
	if bucket >= ToOnSpec {
		product = s.Signals[signal.ProductConductivity].Value
	}
	if bucket == c.Bucket && flow == c.Flow && product == c.Product && runs == c.Runs {
		return
	}
	c.close()
	c.Bucket, c.Flow, c.Product, c.Runs = bucket, flow, product, runs
	c.Slow = flow < set.Alarms[alarm.FlowTooLow].Limit
}

// close turns the open stretch into a volume.
func (c *Custody) close() {
	v := c.open()
	c.Volumes[c.Bucket] += v
	if c.Bucket >= ToOnSpec {
		c.Delivered += v
		c.Weighted += v * c.Product
	}
	if c.Slow {
		c.Uncertain += v
	}
	if c.Runs {
		c.Relief += v
	}
	c.Open = 0
}

// open is the volume of the open stretch, m3.
func (c *Custody) open() float64 { return c.Flow * float64(c.Open) / float64(time.Hour) }

// relieves reports whether the relief lets water out: its contact says so, and without one the rule.
func (s *State) relieves() bool {
	if s.reads(signal.ReliefOpen) {
		return s.On(signal.ReliefOpen)
	}
	return s.Mode == Shut
}

func (s *State) bucket() Bucket {
	switch {
	case s.Mode == Shut || s.Mode == NoPower:
		return ToInletShut
	case s.On(signal.RinseOpen):
		return ToRinse
	case s.Signals[signal.ProductConductivity].Quality != signal.Good:
		return ToUnknown
	case !s.Off():
		return ToOnSpec
	case s.Mode == Bypass:
		return ToOffSpecBypass
	default:
		return ToOffSpecDelay
	}
}

// Volume is what went into a bucket so far, m3.
func (c *Custody) Volume(b Bucket) float64 {
	v := c.Volumes[b]
	if b == c.Bucket {
		v += c.open()
	}
	return v
}

// FlowWeighted is the mean product reading over the water delivered, uS/cm; false where none was delivered.
func (c *Custody) FlowWeighted() (float64, bool) {
	closed := *c
	closed.close()
	if closed.Delivered <= 0 {
		return 0, false
	}
	return closed.Weighted / closed.Delivered, true
}

// integral is the water measured so far, m3: the sum of all buckets.
func (c *Custody) integral() float64 {
	sum := 0.0
	for b := range Buckets {
		sum += c.Volume(Bucket(b))
	}
	return sum
}

// UncertainVolume is the part of all buckets together that passed more slowly than the meter can read, m3.
func (c *Custody) UncertainVolume() float64 {
	closed := *c
	closed.close()
	return closed.Uncertain
}

// ReliefVolume is the water that left by the relief, m3, and whether that is an estimate. Where the meter sees the
// relief it was measured, and the buckets hold it; where not, it is the time that the relief was open times the agreed
// rate, and no bucket holds it. known is false without an agreed rate.
func (c *Custody) ReliefVolume(set *Settings) (volume float64, estimated, known bool) {
	if set.reliefMetered() {
		closed := *c
		closed.close()
		return closed.Relief, false, true
	}
	return c.ReliefTime.Hours() * set.Setup.ReliefRate, true, set.Setup.ReliefRate > 0
}

// reliefMetered reports whether the flow meter sees what leaves by the relief (question P14 of the profile).
func (s *Settings) reliefMetered() bool { return s.Profile.ReliefTee.Seen }

// worst keeps the highest good product reading.
func (c *Custody) worst(v float64) {
	if !c.HasMax || v > c.Max {
		c.Max, c.HasMax = v, true
	}
}
