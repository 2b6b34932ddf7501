package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Time limits of one connection. A silent peer is known after keepAlive + pingTimeout at most.
const (
	dialTimeout    = 10 * time.Second
	connectTimeout = 15 * time.Second // with the CONNACK
	writeTimeout   = 5 * time.Second
	keepAlive      = 20 * time.Second
	pingTimeout    = 10 * time.Second
)

// options of one connection's client. Each connection has a client of its own, and nothing is kept for the next: with
// automatic reconnection the library completes tokens that no PUBACK has answered, and with a kept session it may never
// complete them. Then a token without an error is a PUBACK and nothing else.
func (c *Client) options(ctx context.Context, s *session) (*paho.ClientOptions, error) {
	password, err := c.set.password()
	if err != nil {
		return nil, err
	}
	o := paho.NewClientOptions().
		AddBroker(c.set.Broker).
		SetClientID(c.set.ClientID).
		SetUsername(c.set.User).
		SetPassword(password).
		SetProtocolVersion(4). // else a refused CONNECT is tried again as MQTT 3.1
		SetCleanSession(true).
		SetAutoReconnect(false).
		SetConnectRetry(false).
		SetOrderMatters(false).          // a handler may wait without stopping acknowledgements
		SetStore(paho.NewMemoryStore()). // the journal is the store
		SetConnectTimeout(connectTimeout).
		SetWriteTimeout(writeTimeout). // 0 would leave a full send buffer unnoticed
		SetKeepAlive(keepAlive).
		SetPingTimeout(pingTimeout).
		SetBinaryWill(c.set.topic("avail"), c.set.availOf(false, "connection lost", c.boot, s.number, c.set.Clock.UTC()), 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { s.lose(err) }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			conn, err := c.set.dial(ctx)
			if err == nil {
				s.hold(conn)
			}
			return conn, err
		})
	return o, nil
}

// dial opens the connection itself, since the library would use a proxy that it finds in the environment. Files are read
// anew for each handshake.
func (s *Settings) dial(ctx context.Context) (net.Conn, error) {
	address, secure := s.address()
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
	if err != nil || !secure {
		return conn, err
	}
	settings, err := s.tls(address)
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	secured := tls.Client(conn, settings)
	if err := secured.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("cannot agree on TLS with %s: %w", address, err), conn.Close())
	}
	return secured, nil
}

func (s *Settings) tls(address string) (*tls.Config, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	t := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if s.CA != "" {
		pem, err := os.ReadFile(s.CA)
		if err != nil {
			return nil, fmt.Errorf("cannot read mqtt.ca: %w", err)
		}
		t.RootCAs = x509.NewCertPool()
		if !t.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("cannot read mqtt.ca: %s holds no PEM certificate", s.CA)
		}
	}
	if s.Cert != "" {
		pair, err := tls.LoadX509KeyPair(s.Cert, s.Key)
		if err != nil {
			return nil, fmt.Errorf("cannot read mqtt.cert and mqtt.key: %w", err)
		}
		t.Certificates = []tls.Certificate{pair}
	}
	return t, nil
}

func (s *Settings) password() (string, error) {
	if s.PasswordFile == "" {
		return "", nil
	}
	b, err := os.ReadFile(s.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("cannot read mqtt.password_file: %w", err)
	}
	return strings.TrimRight(string(b), "\r\n"), nil
}
