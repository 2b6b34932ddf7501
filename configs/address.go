package configs

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"ionward/rules/signal"
)

// The schemes of an instrument's address.
const (
	TCP        = "tcp"     // Modbus TCP
	RTU        = "rtu"     // Modbus RTU on a serial line of this computer
	RTUOverTCP = "rtu+tcp" // RTU frames through a converter on the network
)

// Address is where an instrument is reached.
type Address struct {
	Scheme string // TCP, RTU or RTUOverTCP
	Host   string // host:port; "" on a serial line
	Device string // serial device, such as /dev/ttyS0 or COM3; "" on the network
	Baud   int    // bit/s, 300 to 1000000
	Parity string // even, odd or none
	Stop   int    // stop bits, 1 or 2
}

// Serial reports whether RTU frames are spoken, on a line or through a converter.
func (a Address) Serial() bool { return a.Scheme != TCP }

// Line names what instruments share when they hang on one link: host:port or the serial device.
func (a Address) Line() string { return a.Host + a.Device }

// String is the address with everything filled in, as it could stand in the file.
func (a Address) String() string {
	if a.Scheme == RTU {
		return fmt.Sprintf("rtu://%s?baud=%d&parity=%s&stop=%d", a.Device, a.Baud, a.Parity, a.Stop)
	}
	return a.Scheme + "://" + a.Host
}

const addressForms = "tcp://host:port, rtu:///dev/ttyS0?baud=19200&parity=even or rtu+tcp://host:port"

// ParseAddress reads an instrument's address. A port left out is 502 (Modbus Messaging on TCP/IP Implementation Guide
// V1.0b, 4.2.2), but must be written for a converter, which has no standard one.
func ParseAddress(s string) (Address, error) {
	u, err := url.Parse(s)
	if err != nil || u.Opaque != "" || u.Fragment != "" || u.User != nil {
		return Address{}, fmt.Errorf("%q is not an address; want %s", s, addressForms)
	}
	switch u.Scheme {
	case TCP, RTUOverTCP:
		port := "502"
		if u.Scheme == RTUOverTCP {
			port = ""
		}
		if u.Path != "" || u.RawQuery != "" || u.ForceQuery {
			return Address{}, fmt.Errorf("%q holds more than host and port; want %s://host:port", s, u.Scheme)
		}
		host, err := hostPort(u.Host, port)
		if err != nil {
			return Address{}, fmt.Errorf("%q: %w", s, err)
		}
		return Address{Scheme: u.Scheme, Host: host}, nil
	case RTU:
		return serialAddress(s, u)
	case "":
		return Address{}, fmt.Errorf("%q has no scheme; want %s", s, addressForms)
	default:
		return Address{}, fmt.Errorf("scheme %q is not known; the nearest is %s (want %s)",
			u.Scheme, signal.Nearest(u.Scheme, []string{TCP, RTU, RTUOverTCP}), addressForms)
	}
}

// serialAddress reads the device and the line's settings; what is left out is the standard's default, 19200 bit/s and
// even parity, and 11 bits a character: without parity two stop bits (Modbus over Serial Line V1.02, 2.5.1 and 3.2).
func serialAddress(s string, u *url.URL) (Address, error) {
	a := Address{Scheme: RTU, Device: u.Host + u.Path, Baud: 19200, Parity: "even"}
	if strings.Trim(a.Device, "/") == "" {
		return Address{}, fmt.Errorf("%q names no serial device; want rtu:///dev/ttyS0 or rtu://COM3", s)
	}
	query, err := url.ParseQuery(u.RawQuery)
	if err != nil {
		return Address{}, fmt.Errorf("%q: what follows ? is not readable; want baud=19200&parity=even", s)
	}
	known := []string{"baud", "parity", "stop"}
	// A map has no order, but messages should: the first fault by name.
	for _, name := range sortedKeys(query) {
		text := query.Get(name)
		switch {
		case !slices.Contains(known, name):
			return Address{}, fmt.Errorf("unknown setting %q after ?; the nearest is %s (known: %s)", name, signal.Nearest(name, known), oneOf(known))
		case len(query[name]) > 1:
			return Address{}, fmt.Errorf("%s is given twice after ?; remove one", name)
		case name == "baud":
			a.Baud, err = strconv.Atoi(text)
			if err != nil || a.Baud < 300 || a.Baud > 1000000 {
				return Address{}, fmt.Errorf("baud=%s; want 300 to 1000000, such as 19200", text)
			}
		case name == "parity":
			if a.Parity = text; text != "even" && text != "odd" && text != "none" {
				return Address{}, fmt.Errorf("parity=%s; want even, odd or none", text)
			}
		case name == "stop":
			if text != "1" && text != "2" {
				return Address{}, fmt.Errorf("stop=%s; want 1 or 2", text)
			}
			a.Stop = int(text[0] - '0')
		}
	}
	if a.Stop == 0 {
		if a.Stop = 1; a.Parity == "none" {
			a.Stop = 2
		}
	}
	return a, nil
}

func sortedKeys(m url.Values) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// hostPort checks host:port of a peer and fills in a port left out, if there is one to fill in.
func hostPort(s, port string) (string, error) {
	host, given, err := net.SplitHostPort(s)
	if err != nil {
		// Without a port; an IPv6 address then stands in brackets all the same, or its end would look like one.
		if host = strings.TrimSuffix(strings.TrimPrefix(s, "["), "]"); host == s && strings.Contains(s, ":") || port == "" {
			return "", errors.New("want host:port, an IPv6 address in brackets")
		}
		given = port
	}
	if host == "" {
		return "", errors.New("has no host; want host:port")
	}
	if strings.ContainsFunc(host, func(c rune) bool { return c <= ' ' || c == 0x7F || strings.ContainsRune("/?#@%[]", c) }) ||
		strings.Contains(host, ":") && net.ParseIP(host) == nil {
		return "", fmt.Errorf("host %q is not a name or an IP address", host)
	}
	n, err := strconv.Atoi(given)
	if err != nil || n < 1 || n > 65535 {
		return "", fmt.Errorf("port %q; want 1 to 65535", given)
	}
	return net.JoinHostPort(host, strconv.Itoa(n)), nil
}

// loopback reports whether only this computer can be meant.
func loopback(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
