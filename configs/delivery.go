package configs

import (
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
)

var journalFields = []field[Journal]{
	pathField(Key{Path: "folder", Default: "(the unit file's name with the ending .journal, beside it)", Example: "journal", Meaning: "folder of the record, made when missing"},
		func(j *Journal) *string { return &j.Folder }),
	{
		Key: Key{Path: "quota", Form: Size, Unit: "bytes", Default: "2 GiB", Example: "500 MB", Meaning: "most that the record may take; the oldest month goes first"},
		read: func(r *reader, v value, into *Journal) {
			// 16 MiB hold some days; less would drop events before anybody could read them.
			if n, ok := r.size(v, 16<<20, 1<<50); ok {
				into.Quota = n
			}
		},
	},
}

var mqttFields = []field[MQTT]{
	{
		Key:  Key{Path: "broker", Form: URL, Default: "(no MQTT)", Example: "mqtts://broker.example:8883", Meaning: "mqtt://host:port or, encrypted, mqtts://host:port"},
		read: func(r *reader, v value, into *MQTT) { r.broker(v, &into.Broker) },
	},
	textField(Key{Path: "prefix", Default: "ionward", Example: "site/water", Meaning: "first levels of every topic"},
		topic, func(m *MQTT) *string { return &m.Prefix }),
	textField(Key{Path: "client_id", Default: "(ionward- and the trailer)", Example: "ionward-T-07", Meaning: "the client's name at the broker, no two alike"},
		word("-_.", 64), func(m *MQTT) *string { return &m.ClientID }),
	pathField(Key{Path: "ca", Default: "(those of the system)", Example: "tls/ca.pem", Meaning: "authorities to trust, PEM"},
		func(m *MQTT) *string { return &m.CA }),
	pathField(Key{Path: "cert", Example: "tls/trailer.pem", Meaning: "the client's certificate, PEM; with key"},
		func(m *MQTT) *string { return &m.Cert }),
	pathField(Key{Path: "key", Example: "tls/trailer.key", Meaning: "the certificate's private key, PEM; with cert"},
		func(m *MQTT) *string { return &m.Key }),
	textField(Key{Path: "user", Example: "trailer", Meaning: "user name at the broker"},
		printed(128), func(m *MQTT) *string { return &m.User }),
	pathField(Key{Path: "password_file", Example: "mqtt.password", Meaning: "file that holds the password alone"},
		func(m *MQTT) *string { return &m.PasswordFile }),
}

var screenFields = []field[Screen]{
	listenField(Key{Path: "listen", Default: "127.0.0.1:8480", Example: "127.0.0.1:9000", Meaning: "where the screen is served, or off"},
		func(s *Screen) *string { return &s.Listen }),
	textField(Key{Path: "bypass_label", Default: "BYPASS", Example: "OVERRIDE", Meaning: "the word engraved at the bypass button of the wired panel"},
		printed(16), func(s *Screen) *string { return &s.BypassLabel }),
	numberField(Key{Path: "density", Unit: "pixels per inch", Default: "149", Example: "96", Meaning: "of the screen, so that letters have their size in mm"},
		func(x float64) bool { return x >= 50 && x <= 600 }, "50 to 600 pixels per inch", func(s *Screen) *float64 { return &s.Density }),
}

var metricsFields = []field[Metrics]{
	listenField(Key{Path: "listen", Default: "(the screen's)", Example: "127.0.0.1:9480", Meaning: "where /metrics is served, or off"},
		func(m *Metrics) *string { return &m.Listen }),
}

var registersFields = []field[Registers]{
	listenField(Key{Path: "listen", Default: "off", Example: "127.0.0.1:5502", Meaning: "where a control system may read registers, or off"},
		func(g *Registers) *string { return &g.Listen }),
}

// listen reads host:port to listen at; off gives "". Port 0 takes any free one.
func (r *reader) listen(v value) (string, bool) {
	s, ok := r.text(v)
	if !ok || s == "off" {
		return "", ok
	}
	host, port, err := net.SplitHostPort(s)
	n, numberErr := strconv.ParseUint(port, 10, 16)
	if err != nil || numberErr != nil || strings.ContainsAny(host, "/@ ") {
		r.fault(v, "%q is not host:port; want an address of this computer and a port up to 65535, such as %s, or off", s, v.info.Example)
		return "", false
	}
	s = net.JoinHostPort(host, strconv.FormatUint(n, 10))
	if !loopback(s) {
		r.warn(v, "%s can be reached from the network, and asks for no password; want 127.0.0.1 unless that is meant", s)
	}
	return s, true
}

// broker reads the broker's URL. A message never repeats a URL with a user in it: there may be a password beside.
func (r *reader) broker(v value, into *Broker) {
	s, ok := r.text(v)
	if !ok {
		return
	}
	const want = "want mqtt://host:port or mqtts://host:port"
	if strings.Contains(s, "@") {
		r.fault(v, "a user or password in the address is refused; want mqtt.user and mqtt.password_file")
		return
	}
	u, err := url.Parse(s)
	if err != nil || u.Opaque != "" || u.Scheme != "mqtt" && u.Scheme != "mqtts" {
		r.fault(v, "%q is not a broker's address; %s", s, want)
		return
	}
	if strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" {
		r.fault(v, "%q holds more than host and port; %s", s, want)
		return
	}
	// The registered ports of MQTT, plain and over TLS (IANA service names: mqtt, secure-mqtt).
	port := "1883"
	if u.Scheme == "mqtts" {
		port = "8883"
	}
	host, err := hostPort(u.Host, port)
	if err != nil {
		r.fault(v, "%q: %v; %s", s, err, want)
		return
	}
	*into = Broker{Host: host, TLS: u.Scheme == "mqtts"}
}

// topic accepts what may stand before the trailer in a topic: levels without wildcards (MQTT 3.1.1, 4.7), and not
// the broker's own topics, which begin with $.
func topic(s string) error {
	if strings.ContainsAny(s, "+#$ ") || strings.HasPrefix(s, "/") || strings.HasSuffix(s, "/") || strings.Contains(s, "//") {
		return fmt.Errorf("%q cannot begin a topic; want words with / between them, without + # $ and spaces", s)
	}
	return printed(128)(s)
}

// checkDelivery judges what only several keys together can show.
func (r *reader) checkDelivery(f *File) {
	m := f.MQTT
	pair := func(have, lack string) {
		v, ok := r.written(have)
		if _, other := r.written(lack); ok && !other {
			r.fault(v, "is of no use alone; want %s too", lack)
		}
	}
	pair("mqtt.cert", "mqtt.key")
	pair("mqtt.key", "mqtt.cert")
	// MQTT 3.1.1 has no password without a user name (MQTT-3.1.2-22).
	pair("mqtt.password_file", "mqtt.user")
	if broker, ok := r.written("mqtt.broker"); ok && m.Broker.On() && !m.Broker.TLS {
		if !loopback(m.Broker.Host) {
			r.warn(broker, "nothing is encrypted on the way to %s; want mqtts:// unless the network is trusted", m.Broker.Host)
		}
		for _, path := range []string{"mqtt.ca", "mqtt.cert", "mqtt.key"} {
			if v, ok := r.written(path); ok {
				r.warn(v, "has no effect with mqtt://; want mqtts:// in mqtt.broker")
			}
		}
	} else if section, written := r.written("mqtt"); written && !ok && len(section.node.Content) > 0 && !r.doubted("mqtt") {
		r.warn(section, "has no broker: nothing is published; want mqtt.broker, or no mqtt section")
	}
	r.checkPorts(f)
}

// checkPorts refuses two servers at one port; only screen and metrics share a server.
func (r *reader) checkPorts(f *File) {
	v, ok := r.written("registers.listen")
	if !ok || f.Registers.Listen == "" || strings.HasSuffix(f.Registers.Listen, ":0") {
		return
	}
	for _, other := range []struct{ path, listen string }{{"screen.listen", f.Screen.Listen}, {"metrics.listen", f.Metrics.Listen}} {
		if f.Registers.Listen == other.listen {
			r.fault(v, "%s is taken by %s; want another port", f.Registers.Listen, other.path)
			return
		}
	}
}
