// Package mqtt publishes a trailer to an MQTT 3.1.1 broker.
//
// It guarantees that every entry of the journal is acknowledged by the broker at least once and sent for the first time
// in order; that live values never queue behind a backlog; and that a subscriber can tell a planned stop from a lost
// link. From the journal to the PUBACK nothing is lost; what a broker does afterwards is the broker's. It subscribes to
// nothing but its own availability topic, takes no orders, and never writes to an instrument.
//
// # Topics
//
// All are QoS 1, below <prefix>/<trailer>/:
//
//	log     every entry that is a scan, from the journal, in order
//	alarms  every change of an alarm, from the journal, in order with log
//	state   retained: the newest snapshot; what came in between while the link was busy or down is left out
//	avail   retained: online after each connection; offline at a planned stop; offline as the will
//
// # Payloads
//
// Each is one flat JSON object (RFC 8259). Members come and go with schema only; readers ignore those they do not know.
// Every object has
//
//	schema      1
//	trailer     the trailer's id
//	simulation  true, only where the values come from a simulator
//	at          UTC, RFC 3339 with milliseconds
//
// log, alarms and state have
//
//	epoch       of the journal; (trailer, epoch, seq) is the key of an entry: the same key again is a repeat, to be ignored
//	seq         rises by 1; a hole in log that is not filled later means scans or entries that left no scan (see below)
//	state       no_power, service, delay, bypass, shut
//
// log and state have, for every signal (names as in traces; contacts are 0 or 1),
//
//	<signal>          the number in <signal>_unit; null where there is none: never 0 for want of a value
//	<signal>_unit     UCUM code: uS/cm, Cel, m3/h, m3; 1 for contacts
//	<signal>_quality  good, uncertain, bad, none
//	<signal>_cause    why the quality is not good; only then
//
// log has, where it is so, estimated: true (the time before this scan was measured by wall clocks, over a restart).
// Entries without a scan (a deadline between scans) are in alarms where an alarm changed, and leave a hole in log.
//
// state has since (UTC of the change of state), reason (its code), time_left_s (seconds to a stop; null where none
// approaches), off_spec, endpoint and endpoint_unit, inlet and relief (what the rule expects: open, shut, not_driven),
// and alarm_<name> for every alarm (its phase). Its seq may be one that the journal has not committed yet; after a power
// cut such a number may name another entry.
//
// alarms has n (the event's place in its entry), alarm, from and to (phases), priority, active, reason.
//
// avail has avail (online, offline), reason (birth, stop, connection lost), boot (random, new at each start of the
// agent), session (rises with every attempt to connect). An offline whose boot and session are not those of the last online is
// an older connection's will: ignore it. A will's time is that of its connection, since it is lodged then.
package mqtt

import (
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"ionward/agent"
	"ionward/agent/forward"
)

// Settings say where and as whom to publish.
type Settings struct {
	Broker       string        // mqtt://host:port or mqtts://host:port; ports 1883 and 8883 may be left out
	Prefix       string        // first part of every topic; "" = ionward
	Trailer      string        // id of the trailer, second part of every topic
	ClientID     string        // "" = <prefix>-<trailer>; two clients with one id throw each other out for ever
	CA           string        // PEM file of the authorities to trust; "" = those of the system
	Cert, Key    string        // PEM files of the client's own certificate; "" = none
	User         string        // "" = anonymous
	PasswordFile string        // read at every connection, like the other files: a renewal needs no restart
	Simulation   bool          // the values come from a simulator, and every payload says so
	Puback       time.Duration // the broker must acknowledge within it; 0 = 30 s
	Feed         forward.Settings
	Clock        agent.Clock // stamps availability; nil = the machine's clock
}

// Check names every setting that cannot work; it reads no file.
func (s Settings) Check() []error {
	var faults []error
	add := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	s = s.filled()
	u, err := url.Parse(s.Broker)
	switch {
	case err != nil || u.Host == "" || (u.Scheme != "mqtt" && u.Scheme != "mqtts"):
		add("mqtt.broker: %q must be mqtt://host:port or mqtts://host:port", s.Broker)
	case u.User != nil:
		add("mqtt.broker: a name or password does not belong in it; set mqtt.user and mqtt.password_file")
	case u.Path != "" || u.RawQuery != "" || u.Fragment != "":
		add("mqtt.broker: %q has more than a host and a port", s.Broker)
	case u.Scheme == "mqtt" && s.CA+s.Cert+s.Key != "":
		add("mqtt.broker: certificates are of use with mqtts:// only")
	}
	for name, level := range map[string]string{"prefix": s.Prefix, "trailer": s.Trailer} {
		if level == "" || strings.ContainsAny(level, "+#\x00") || strings.HasPrefix(level, "$") || strings.HasPrefix(level, "/") ||
			strings.HasSuffix(level, "/") || (name == "trailer" && strings.Contains(level, "/")) {
			add("mqtt.%s: %q cannot be part of a topic: no + # $ and no / at its ends", name, level)
		}
	}
	if (s.Cert == "") != (s.Key == "") {
		add("mqtt.cert and mqtt.key: the one needs the other")
	}
	if s.PasswordFile != "" && s.User == "" {
		add("mqtt.password_file: needs mqtt.user")
	}
	return faults
}

func (s Settings) filled() Settings {
	if s.Prefix == "" {
		s.Prefix = "ionward"
	}
	if s.ClientID == "" {
		s.ClientID = strings.ReplaceAll(s.Prefix, "/", "-") + "-" + s.Trailer
	}
	if s.Puback <= 0 {
		s.Puback = 30 * time.Second
	}
	if s.Clock == nil {
		s.Clock = agent.NewRealClock()
	}
	return s
}

// topic gives the topic of one kind of message.
func (s *Settings) topic(kind string) string { return s.Prefix + "/" + s.Trailer + "/" + kind }

// address is host and port of the broker, and whether it speaks TLS.
func (s *Settings) address() (host string, secure bool) {
	u, err := url.Parse(s.Broker)
	if err != nil {
		return "", false // Check has refused it
	}
	secure = u.Scheme == "mqtts"
	if u.Port() != "" {
		return u.Host, secure
	}
	if secure {
		return u.Host + ":8883", true
	}
	return u.Host + ":1883", false
}

var errDown = errors.New("the link to the broker is down")
