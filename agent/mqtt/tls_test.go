package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/require"

	"ionward/agent/forward/forwardtest"
)

// authority is a certificate authority made for one test.
type authority struct {
	t      *testing.T
	folder string
	cert   *x509.Certificate
	key    *ecdsa.PrivateKey
	serial int64
}

func newAuthority(t *testing.T) *authority {
	a := &authority{t: t, folder: t.TempDir()}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	a.key = key
	a.cert = &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
	}
	der, err := x509.CreateCertificate(rand.Reader, a.cert, a.cert, key.Public(), key)
	require.NoError(t, err)
	a.cert, err = x509.ParseCertificate(der)
	require.NoError(t, err)
	a.write("ca.pem", "CERTIFICATE", der)
	return a
}

func (a *authority) path(name string) string { return filepath.Join(a.folder, name) }

func (a *authority) write(name, kind string, der []byte) {
	require.NoError(a.t, os.WriteFile(a.path(name), pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
}

// issue writes NAME.pem and NAME.key.
func (a *authority) issue(name string) tls.Certificate {
	a.serial++
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	der, err := x509.CreateCertificate(rand.Reader, &x509.Certificate{
		SerialNumber: big.NewInt(100 + a.serial), Subject: pkix.Name{CommonName: name}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}, a.cert, key.Public(), a.key)
	require.NoError(a.t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(a.t, err)
	a.write(name+".pem", "CERTIFICATE", der)
	a.write(name+".key", "PRIVATE KEY", secret)
	pair, err := tls.LoadX509KeyPair(a.path(name+".pem"), a.path(name+".key"))
	require.NoError(a.t, err)
	return pair
}

// door keeps the users and passwords of those who came.
type door struct {
	mochi.HookBase
	mu   sync.Mutex
	came []string
}

func (d *door) ID() string           { return "door" }
func (d *door) Provides(b byte) bool { return b == mochi.OnConnect }

func (d *door) OnConnect(_ *mochi.Client, pk packets.Packet) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.came = append(d.came, string(pk.Connect.Username)+":"+string(pk.Connect.Password))
	return nil
}

func (d *door) list() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.came...)
}

func TestTLSWithRenewedFiles(t *testing.T) {
	a := newAuthority(t)
	pool := x509.NewCertPool()
	pool.AddCert(a.cert)
	store, door := &recorder{}, &door{}
	var mu sync.Mutex
	var clients []string // serial numbers of the clients' certificates
	b := newBroker(t, &tls.Config{
		Certificates: []tls.Certificate{a.issue("broker")}, ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert,
		VerifyConnection: func(s tls.ConnectionState) error {
			mu.Lock()
			defer mu.Unlock()
			clients = append(clients, s.PeerCertificates[0].SerialNumber.String())
			return nil
		},
	}, store, door)
	line := newProxy(t, b.address)
	a.issue("trailer")
	secret := a.path("password")
	require.NoError(t, os.WriteFile(secret, []byte("first\n"), 0o600))

	set := settings(line.address())
	set.Broker = "mqtts://" + line.address()
	set.CA, set.Cert, set.Key = a.path("ca.pem"), a.path("trailer.pem"), a.path("trailer.key")
	set.User, set.PasswordFile = "T-100", secret
	// A proxy of the environment must not be asked.
	t.Setenv("all_proxy", "socks5://127.0.0.1:1")
	j := forwardtest.Open(t, t.TempDir())
	forwardtest.Record(j, 1, 30)
	c := start(t, set, j, nil)
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == 30 })

	a.issue("trailer")
	require.NoError(t, os.WriteFile(secret, []byte("second\n"), 0o600))
	line.cut(false)
	forwardtest.Record(j, 31, 60)
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == 60 })
	c.stop()
	forwardtest.Complete(t, store.seqs(logTopic), 60)
	came := door.list()
	require.Equal(t, "T-100:first", came[0])
	require.Equal(t, "T-100:second", came[len(came)-1])
	mu.Lock()
	defer mu.Unlock()
	require.NotEqual(t, clients[0], clients[len(clients)-1], "the renewed certificate is used without a restart")
}

func TestTLSRefusesAnUnknownAuthority(t *testing.T) {
	a := newAuthority(t)
	b := newBroker(t, &tls.Config{Certificates: []tls.Certificate{a.issue("broker")}})
	set := settings(b.address)
	set.Broker = "mqtts://" + b.address
	faults := map[string]string{
		newAuthority(t).path("ca.pem"): "unknown authority",
		a.path("broker.key"):           "holds no PEM certificate",
		a.path("missing.pem"):          "cannot read mqtt.ca",
	}
	for ca, want := range faults {
		set.CA = ca
		c := start(t, set, forwardtest.Open(t, t.TempDir()), nil)
		eventually(t, want, func() bool { return c.Health().LastError != "" })
		require.Contains(t, c.Health().LastError, want)
		require.False(t, c.Health().Connected)
		c.stop()
	}
}
