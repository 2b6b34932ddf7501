package modbus

import (
	"fmt"
	"strings"
	"time"
)

// Kind is one of the four tables of an instrument.
type Kind uint8

// The four tables; each is read by its own function code (sections 6.1 to 6.4).
const (
	Holding  Kind = iota // function code 3, 16-bit registers
	Input                // function code 4, 16-bit registers
	Coil                 // function code 1, single bits
	Discrete             // function code 2, single bits
)

// Most that one request may ask for (Modbus Application Protocol 6.1 to 6.4).
const (
	MaxRegisters = 125
	MaxBits      = 2000
)

var kindNames = [...]string{"holding", "input", "coil", "discrete"}

// String is the name used in the unit file.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Bits reports whether the table holds single bits rather than registers.
func (k Kind) Bits() bool { return k == Coil || k == Discrete }

// most is the largest quantity one request may ask for.
func (k Kind) most() int {
	if k.Bits() {
		return MaxBits
	}
	return MaxRegisters
}

// ParseKind reads a table's name: holding, input, coil or discrete.
func ParseKind(name string) (Kind, error) {
	for i, known := range kindNames {
		if name == known {
			return Kind(i), nil
		}
	}
	return 0, fmt.Errorf("kind %q: want %s", name, oneOf(kindNames[:]))
}

// Request asks one instrument for a run of registers or bits. Addresses are those
// on the wire and start at 0: what a manual calls holding register 40001 is 0.
type Request struct {
	UnitID   uint8
	Kind     Kind
	Address  uint16        // the first, 0 to 65535
	Quantity uint16        // 1 to 125 registers, 1 to 2000 bits
	Timeout  time.Duration // from the moment the link is free; 0 = the link's own
}

// Check tells what is wrong with a request that could never be asked.
func (r Request) Check() error {
	switch {
	case int(r.Kind) >= len(kindNames):
		return fmt.Errorf("%s: want %s", r.Kind, oneOf(kindNames[:]))
	case r.Quantity < 1 || int(r.Quantity) > r.Kind.most():
		return fmt.Errorf("quantity %d: want 1 to %d for %s", r.Quantity, r.Kind.most(), r.Kind)
	case r.end() > 1<<16:
		return fmt.Errorf("address %d, quantity %d: runs past 65535", r.Address, r.Quantity)
	}
	return nil
}

// end is the address after the last one asked for.
func (r Request) end() int { return int(r.Address) + int(r.Quantity) }

// String names what is asked, for error texts.
func (r Request) String() string {
	what := r.Kind.String()
	if !r.Kind.Bits() {
		what += " register"
	}
	if r.Quantity == 1 {
		return fmt.Sprintf("%s %d of unit %d", what, r.Address, r.UnitID)
	}
	return fmt.Sprintf("%ss %d to %d of unit %d", what, r.Address, r.end()-1, r.UnitID)
}

// oneOf lists the allowed words of an error text: "a, b or c".
func oneOf(words []string) string {
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}
