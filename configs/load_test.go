package configs

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules"
	"ionward/rules/signal"
)

// least is the smallest file that an agent can run with.
const least = `
trailer: T-01
instruments:
  analyzer:
    address: tcp://127.0.0.1:5020
    signals:
      product_conductivity: {register: 0}
`

func load(t *testing.T, text string, sets ...string) *File {
	t.Helper()
	f, err := Load("unit.yaml", []byte(text), sets, ForRun)
	require.NoError(t, err)
	return f
}

func TestLeastFileHasEveryDefault(t *testing.T) {
	want := &File{
		Name: "unit.yaml", Trailer: "T-01", Language: "en", Units: "us", Rule: rules.Defaults(),
		Instruments: []Instrument{{
			Name: "analyzer", Address: Address{Scheme: TCP, Host: "127.0.0.1:5020"},
			UnitID: 1, Every: time.Second, Timeout: time.Second, WordOrder: "ABCD", MaxRegisters: 125,
			HoldOff: HoldOff{Losses: 5, Within: 5 * time.Minute, Steady: 30 * time.Second}, SettingsEvery: 10 * time.Minute,
			Signals: []Signal{{
				ID: signal.ProductConductivity, Kind: "holding", Type: "f32", Scale: 1,
				Unit: signal.MicrosiemensPerCm, Low: 0.02, High: 3000,
			}},
		}},
		Journal: Journal{Folder: "unit.journal", Quota: 2147483648},
		MQTT:    MQTT{Prefix: "ionward", ClientID: "ionward-T-01"},
		Screen:  Screen{Listen: "127.0.0.1:8480", BypassLabel: "BYPASS", Density: 149},
		Metrics: Metrics{Listen: "127.0.0.1:8480"},
	}
	assert.Equal(t, want, load(t, least))
	assert.False(t, want.MQTT.Broker.On())
}

func TestDefaultNeedsNoFile(t *testing.T) {
	f, err := Default([]string{"off_spec.endpoint=0.5", "off_spec.delay=5m"})
	require.NoError(t, err)
	want := rules.Defaults()
	want.Endpoint, want.Delay = 0.5, 5*time.Minute
	assert.Equal(t, want, f.Rule)
	assert.Empty(t, f.Trailer)
	assert.Empty(t, f.Journal.Folder, "no file, no folder beside it")

	_, err = Default([]string{"off_spec.delay=abc", "off_spec.bypass=0s"})
	assert.EqualError(t, err, `--set off_spec.delay=abc: "abc" is not a duration; want one such as 10m, 90s, 1h30m or 250ms
--set off_spec.bypass=0s: 0s must be longer than 0s`)
}

func TestRuleAloneIsEnoughForReplay(t *testing.T) {
	const rule = "off_spec:\n  endpoint: 0.5 uS/cm\n  keep_trip: true\n"
	f, err := Load("rule.yaml", []byte(rule), nil, ForRule)
	require.NoError(t, err)
	assert.Equal(t, 0.5, f.Rule.Endpoint)
	assert.True(t, f.Rule.KeepTrip)

	_, err = Load("rule.yaml", []byte(rule), nil, ForRun)
	assert.ErrorContains(t, err, "rule.yaml:1:1: trailer: missing")
	assert.ErrorContains(t, err, "rule.yaml:1:1: instruments: missing")
}

func TestEveryPartIsRead(t *testing.T) {
	f, err := LoadFile("metric-unit.yaml", nil, ForRun)
	require.NoError(t, err)
	assert.Equal(t, "R. Roe, boiler house", f.AgreedBy)
	profile := rules.DefaultProfile()
	profile.ShortDip.Yes, profile.PowerWhileShut.Yes = false, true // what nobody tried is assumed to be as off_spec says
	assert.Equal(t, rules.Settings{
		Endpoint: 0.2, ClearBand: 0.01, Delay: 5 * time.Minute, Bypass: 15 * time.Minute, ClearDelay: 10 * time.Second,
		KeepTrip: true, Resolution: 0.001, Alarms: rules.Defaults().Alarms, Setup: rules.DefaultSetup(), Profile: profile,
	}, f.Rule)
	assert.Equal(t, Phones{Service: "+1 555 0110", ControlRoom: "+1 555 0111", WaterUser: "+1 555 0112"}, f.Phones)
	require.Len(t, f.Instruments, 3)
	assert.Equal(t, []string{"analyzer", "meter", "remote-io"}, []string{f.Instruments[0].Name, f.Instruments[1].Name, f.Instruments[2].Name})
	assert.Equal(t, Signal{
		ID: signal.ProductTemperature, Register: 104, Kind: "input", Type: "i16", Scale: 0.1, Unit: signal.Celsius,
		Sentinels: []uint64{0x8000, 0x7FFF}, Low: -50, High: 150,
	}, f.Instruments[0].Signals[2])
	assert.Equal(t, Signal{
		ID: signal.BankB, Kind: "input", Type: "bit", Bit: 2, Scale: -1, Offset: 1, High: 1,
	}, f.Instruments[2].Signals[3])
	assert.Equal(t, Journal{Folder: "/var/lib/ionward", Quota: 8 << 30}, f.Journal)
	assert.Equal(t, MQTT{
		Broker: Broker{Host: "broker.example:8883", TLS: true}, Prefix: "site/water", ClientID: "ionward-T-12",
		CA: filepath.Join("tls", "ca.pem"), User: "t-12", PasswordFile: "mqtt.password",
	}, f.MQTT)
	assert.Equal(t, "mqtts://broker.example:8883", f.MQTT.Broker.String())
}

// The example files are what people copy: each must be without a fault and without a warning.
func TestExamples(t *testing.T) {
	files, err := filepath.Glob("*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 2)
	for _, path := range files {
		f, err := LoadFile(path, nil, ForRun)
		require.NoError(t, err, path)
		assert.Empty(t, f.Warnings, path)
	}
}

// The register map that the simulated instruments serve.
func TestBenchUnitMatchesTheSimulatedUnit(t *testing.T) {
	f, err := LoadFile("bench-unit.yaml", nil, ForRun)
	require.NoError(t, err)
	seen := map[string]string{}
	for _, in := range f.Instruments {
		assert.Equal(t, "tcp://127.0.0.1:5020", in.Address.String())
		for _, s := range in.Signals {
			seen[s.ID.String()] = fmt.Sprintf("%d %s %d %s %s", in.UnitID, s.Kind, s.Register, s.Type, s.Unit.Symbol)
		}
	}
	assert.Equal(t, map[string]string{
		"feed_conductivity": "1 holding 0 f32 uS/cm", "product_conductivity": "1 holding 2 f32 uS/cm",
		"feed_temperature": "1 holding 4 f32 C", "product_temperature": "1 holding 6 f32 C",
		"flow": "2 holding 0 f32 gpm", "total": "2 holding 2 f32 gal",
		"control_power": "3 discrete 0 bit ", "bypass_button": "3 discrete 1 bit ", "bank_a": "3 discrete 2 bit ",
		"bank_b": "3 discrete 3 bit ", "inlet_open": "3 discrete 4 bit ", "inlet_shut": "3 discrete 5 bit ",
		"relief_open": "3 discrete 6 bit ", "rinse_open": "3 discrete 7 bit ", "product_outlet_open": "3 discrete 8 bit ",
	}, seen)
}

func TestPathsBeginAtTheFileOrWhereTheOverrideWasTyped(t *testing.T) {
	text := []byte("journal: {folder: log}\nmqtt: {broker: 'mqtts://127.0.0.1', ca: tls/ca.pem, user: u, password_file: /run/pw}\n")
	name := filepath.Join("etc", "ionward", "t7.yaml")
	f, err := Load(name, text, []string{"mqtt.ca=my/ca.pem"}, ForRule)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("etc", "ionward", "log"), f.Journal.Folder)
	assert.Equal(t, "my/ca.pem", f.MQTT.CA)
	assert.Equal(t, "/run/pw", f.MQTT.PasswordFile)

	f, err = Load(name, []byte("units: us\n"), nil, ForRule)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("etc", "ionward", "t7.journal"), f.Journal.Folder)
}

func TestWarningsDoNotStop(t *testing.T) {
	f := load(t, least, "screen.listen=:8480", "off_spec.endpoint=0.02", "mqtt.prefix=a",
		"instruments.analyzer.signals.product_conductivity.register=40003")
	var got []string
	for _, w := range f.Warnings {
		assert.True(t, w.Warning)
		got = append(got, w.String())
	}
	assert.Equal(t, []string{
		"--set screen.listen=:8480: warning: :8480 can be reached from the network, and asks for no password; want 127.0.0.1 unless that is meant",
		"--set off_spec.endpoint=0.02: warning: the endpoint 0.02 uS/cm is not above the low limit 0.02 uS/cm of product_conductivity: never on spec",
		"--set mqtt.prefix=a: mqtt: warning: has no broker: nothing is published; want mqtt.broker, or no mqtt section",
		"--set instruments.analyzer.signals.product_conductivity.register=40003: warning: is taken as address 40003; if the instrument's manual counts from 40001, want 2",
	}, got)
}

func TestFilesThatCannotBeRead(t *testing.T) {
	folder := t.TempDir()
	absent := filepath.Join(folder, "absent.yaml")
	_, err := LoadFile(absent, nil, ForRule)
	require.IsType(t, Faults{}, err)
	assert.True(t, strings.HasPrefix(err.Error(), absent+": cannot read the unit file: "), err)

	_, err = LoadFile(folder, nil, ForRule)
	require.IsType(t, Faults{}, err)
	assert.True(t, strings.HasPrefix(err.Error(), folder+": cannot read the unit file: "), err)

	big := filepath.Join(folder, "big.yaml")
	require.NoError(t, os.WriteFile(big, []byte(strings.Repeat("# a trace by mistake\n", 1<<16)), 0o600))
	_, err = LoadFile(big, nil, ForRule)
	assert.ErrorContains(t, err, "big.yaml:1:1: has more than 1048576 bytes")
}

// What a person writes is what the rule gets: the float nearest to the decimal, with and without its unit.
func TestConductivityIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts := rapid.Int64Range(1, 3_000_000).Draw(t, "counts")
		written := fmt.Sprintf("%d.%03d", counts/1000, counts%1000)
		unit := rapid.SampledFrom([]string{"", " uS/cm", "uS/cm", " \u00b5S/cm", " umho/cm"}).Draw(t, "unit")
		f, err := Load("u.yaml", []byte("off_spec: {endpoint: "+written+unit+"}\n"), nil, ForRule)
		require.NoError(t, err)
		var want float64
		_, err = fmt.Sscan(written, &want)
		require.NoError(t, err)
		assert.Equal(t, want, f.Rule.Endpoint)
		assert.Equal(t, counts, signal.Counts(f.Rule.Endpoint, f.Rule.Resolution))
	})
}

func TestDurationsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(1, int64(24*time.Hour)).Draw(t, "ns"))
		f, err := Default([]string{"off_spec.delay=" + d.String()})
		require.NoError(t, err)
		assert.Equal(t, d, f.Rule.Delay)
	})
}
