package modbus

import (
	"fmt"
	"net"
	"net/url"
	"strconv"
)

// Port is where Modbus TCP servers listen unless told otherwise (the TCP guide,
// 4.2.2).
const Port = 502

// ParseAddress reads an instrument's address, tcp://host or tcp://host:port, and
// returns host:port for Settings.
func ParseAddress(text string) (string, error) {
	const want = "want tcp://host:port, such as tcp://192.0.2.10:502"
	u, err := url.Parse(text)
	switch {
	case err != nil:
		return "", fmt.Errorf("address %q: not readable; %s", text, want)
	case u.Scheme != "tcp":
		return "", fmt.Errorf("address %q: cannot open %q; %s", text, u.Scheme, want)
	case u.Hostname() == "":
		return "", fmt.Errorf("address %q: no host; %s", text, want)
	case u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil:
		return "", fmt.Errorf("address %q: more than host and port; %s", text, want)
	}
	port := u.Port()
	if port == "" {
		port = strconv.Itoa(Port)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 1 || n > 65535 {
		return "", fmt.Errorf("address %q: port %s is not within 1 to 65535; %s", text, port, want)
	}
	return net.JoinHostPort(u.Hostname(), port), nil
}
