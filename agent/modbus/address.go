package modbus

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Port is where Modbus TCP servers listen unless told otherwise (the TCP guide,
// 4.2.2).
const Port = 502

// Address is where instruments are reached: Modbus TCP at a Host, RTU frames at a
// Host (a converter), or RTU frames on the serial line of a Device.
type Address struct {
	RTU    bool   // RTU frames; false = Modbus TCP
	Host   string // host:port; "" on a serial line
	Device string // serial device, such as /dev/ttyS0 or COM3; "" on the network
	Baud   int    // bit/s, 300 to 1000000
	Parity string // even, odd or none
	Stop   int    // stop bits, 1 or 2
}

const addressForms = "want tcp://host:port, rtu+tcp://host:port or rtu:///dev/ttyS0?baud=19200&parity=even&stop=1"

// ParseAddress reads an address as it stands in a unit file; host:port alone is
// Modbus TCP. What a serial line leaves out is the standard's default: 19200 bit/s,
// even parity, and 11 bits a character (serial line guide V1.02, 2.5.1 and 3.2).
func ParseAddress(text string) (Address, error) {
	if !strings.Contains(text, "://") {
		return onNetwork(text, text, false)
	}
	u, err := url.Parse(text)
	if err != nil || u.Fragment != "" || u.User != nil {
		return Address{}, fmt.Errorf("address %q: not readable; %s", text, addressForms)
	}
	if u.Scheme == "rtu" {
		return onLine(text, u)
	}
	if u.Scheme != "tcp" && u.Scheme != "rtu+tcp" {
		return Address{}, fmt.Errorf("address %q: cannot open %q; %s", text, u.Scheme, addressForms)
	}
	if u.Path != "" || u.RawQuery != "" {
		return Address{}, fmt.Errorf("address %q: more than host and port; %s", text, addressForms)
	}
	host := u.Host
	if u.Port() == "" && u.Scheme == "tcp" {
		host = net.JoinHostPort(u.Hostname(), strconv.Itoa(Port))
	}
	return onNetwork(text, host, u.Scheme == "rtu+tcp")
}

func onNetwork(text, hostport string, rtu bool) (Address, error) {
	host, port, err := net.SplitHostPort(hostport)
	switch {
	case err != nil:
		return Address{}, fmt.Errorf("address %q: %w; %s", text, err, addressForms)
	case host == "":
		return Address{}, fmt.Errorf("address %q: no host; %s", text, addressForms)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 1 || n > 65535 {
		return Address{}, fmt.Errorf("address %q: port %s is not within 1 to 65535; %s", text, port, addressForms)
	}
	return Address{RTU: rtu, Host: hostport}, nil
}

func onLine(text string, u *url.URL) (Address, error) {
	a := Address{RTU: true, Device: u.Host + u.Path, Baud: 19200, Parity: "even"}
	query, err := url.ParseQuery(u.RawQuery)
	for name, values := range query {
		value := values[0]
		number, wrong := strconv.Atoi(value)
		switch name {
		case "baud":
			a.Baud, err = number, errors.Join(err, wrong)
		case "stop":
			a.Stop, err = number, errors.Join(err, wrong)
		case "parity":
			a.Parity = value
		default:
			err = fmt.Errorf("unknown setting %q", name)
		}
	}
	if _, given := query["stop"]; !given {
		if a.Stop = 1; a.Parity == "none" {
			a.Stop = 2
		}
	}
	if err == nil {
		err = a.check()
	}
	if err != nil {
		return Address{}, fmt.Errorf("address %q: %w; %s", text, err, addressForms)
	}
	return a, nil
}

// check judges the settings of a serial line.
func (a Address) check() error {
	switch {
	case strings.Trim(a.Device, "/") == "":
		return errors.New("no serial device")
	case a.Baud < 300 || a.Baud > 1000000:
		return fmt.Errorf("baud %d is not within 300 to 1000000", a.Baud)
	case a.Parity != "even" && a.Parity != "odd" && a.Parity != "none":
		return fmt.Errorf("parity %q is not even, odd or none", a.Parity)
	case a.Stop != 1 && a.Stop != 2:
		return fmt.Errorf("stop %d is not 1 or 2", a.Stop)
	}
	return nil
}

// Line is what the instruments behind one link share: host:port or the device.
func (a Address) Line() string { return a.Host + a.Device }

// String is the address with everything filled in.
func (a Address) String() string {
	switch {
	case a.Device != "":
		return fmt.Sprintf("rtu://%s?baud=%d&parity=%s&stop=%d", a.Device, a.Baud, a.Parity, a.Stop)
	case a.RTU:
		return "rtu+tcp://" + a.Host
	}
	return "tcp://" + a.Host
}

// turnaround is how long an instrument is taken to think before it answers: common
// practice on serial lines.
const turnaround = 20 * time.Millisecond

// character is the time of one character on the line. A converter's own line is
// unknown; it is taken for one with the standard's defaults.
func (a Address) character() time.Duration {
	baud, bits := a.Baud, 9+a.Stop
	if a.Parity != "none" {
		bits++
	}
	if a.Device == "" {
		baud, bits = 19200, 11
	}
	return time.Duration(bits) * time.Second / time.Duration(baud)
}

// Silence is the least pause between two frames, T3.5: three and a half characters,
// and 1.750 ms above 19200 bit/s (serial line guide V1.02, 2.5.1.1). 0 on Modbus TCP.
func (a Address) Silence() time.Duration {
	switch {
	case !a.RTU:
		return 0
	case a.Baud > 19200:
		return 1750 * time.Microsecond
	}
	return a.character() * 7 / 2
}

// Size is the number of bytes that a request and its answer fill on the wire.
func (a Address) Size(r Request) int {
	data := 2 * int(r.Quantity)
	if r.Kind.Bits() {
		data = (int(r.Quantity) + 7) / 8
	}
	if a.RTU {
		return 8 + 5 + data
	}
	return 12 + 9 + data
}

// Floor is the least time that a request and its answer take on a serial line, the
// silences included, if the instrument does not think at all. 0 on Modbus TCP.
func (a Address) Floor(r Request) time.Duration {
	if !a.RTU {
		return 0
	}
	return time.Duration(a.Size(r))*a.character() + 2*a.Silence()
}

// Gap is the break-even: so many registers between two values take about as long to
// read for nothing as a second request takes, at 20 ms for the instrument to think.
// On Modbus TCP registers cost nothing, so there a gap may be as long as a request.
func (a Address) Gap() int {
	if !a.RTU {
		return MaxRegisters
	}
	request := 13*a.character() + 2*a.Silence() + turnaround
	return int(request / (2 * a.character()))
}
