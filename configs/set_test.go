package configs

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestSetReachesEverything(t *testing.T) {
	const product = "instruments.analyzer.signals.product_conductivity."
	for name, c := range map[string]struct {
		sets []string
		got  func(*File) any
		want any
	}{
		"a key in a section that is absent": {[]string{"off_spec.delay=5m"}, func(f *File) any { return f.Rule.Delay }, 5 * time.Minute},
		"a key that stands in the file":     {[]string{"trailer=T-99"}, func(f *File) any { return f.Trailer }, "T-99"},
		"deep in an instrument":             {[]string{product + "scale=0.01"}, func(f *File) any { return f.Instruments[0].Signals[0].Scale }, 0.01},
		"a unit of its own":                 {[]string{"off_spec.endpoint=5 MOhm.cm"}, func(f *File) any { return f.Rule.Endpoint }, 0.2},
		"the value holds an equals sign":    {[]string{"instruments.analyzer.address=rtu:///dev/ttyS0?baud=9600"}, func(f *File) any { return f.Instruments[0].Address.Baud }, 9600},
		"a list with commas":                {[]string{product + "sentinel=0x7FC00000,0xFFFFFFFF"}, func(f *File) any { return f.Instruments[0].Signals[0].Sentinels }, []uint64{0x7FC00000, 0xFFFFFFFF}},
		"a list as in the file":             {[]string{product + "sentinel=[1, 2]"}, func(f *File) any { return f.Instruments[0].Signals[0].Sentinels }, []uint64{1, 2}},
		"the later of two":                  {[]string{"off_spec.delay=5m", "off_spec.delay=6m"}, func(f *File) any { return f.Rule.Delay }, 6 * time.Minute},
		"text that YAML takes for nothing":  {[]string{"screen.bypass_label=null"}, func(f *File) any { return f.Screen.BypassLabel }, "null"},
		"spaces around are no part of it":   {[]string{"off_spec.endpoint= 0.5 uS/cm "}, func(f *File) any { return f.Rule.Endpoint }, 0.5},
		"off":                               {[]string{"screen.listen=off"}, func(f *File) any { return f.Screen.Listen + f.Metrics.Listen }, ""},
		"metrics go with the screen":        {[]string{"screen.listen=127.0.0.1:0"}, func(f *File) any { return f.Metrics.Listen }, "127.0.0.1:0"},
		"metrics of their own":              {[]string{"metrics.listen=[::1]:9480"}, func(f *File) any { return f.Metrics.Listen }, "[::1]:9480"},
		"a quota":                           {[]string{"journal.quota=0.5 GiB"}, func(f *File) any { return f.Journal.Quota }, int64(512 << 20)},
		"a broker, its port left out":       {[]string{"mqtt.broker=mqtts://[::1]"}, func(f *File) any { return f.MQTT.Broker }, Broker{Host: "[::1]:8883", TLS: true}},
		"client id follows the trailer":     {[]string{"trailer=T-2"}, func(f *File) any { return f.MQTT.ClientID }, "ionward-T-2"},
		"a new signal":                      {[]string{"instruments.analyzer.signals.flow.register=8"}, func(f *File) any { return len(f.Instruments[0].Signals) }, 2},
		"a new instrument": {[]string{"instruments.io.address=tcp://127.0.0.1", "instruments.io.signals.bank_a.register=0"},
			func(f *File) any { return f.Instruments[1].Signals[0].Kind }, "discrete"},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.want, c.got(load(t, least, c.sets...)))
		})
	}
}

func TestEmptySetTakesAKeyAway(t *testing.T) {
	const text = least + `
off_spec: {delay: 5m, bypass: x}
mqtt: {broker: "mqtt://127.0.0.1", prefix: p}
screen:
`
	// Even what is at fault can be taken away; a whole section, too.
	f := load(t, text, "off_spec.bypass=", "off_spec.delay=", "mqtt=", "screen=")
	assert.Equal(t, 10*time.Minute, f.Rule.Delay)
	assert.Equal(t, 10*time.Minute, f.Rule.Bypass)
	assert.False(t, f.MQTT.Broker.On())
	assert.Equal(t, "ionward", f.MQTT.Prefix)

	// Taken away and begun anew.
	f = load(t, text, "off_spec=", "off_spec.bypass=7m", "screen.density=96")
	assert.Equal(t, 10*time.Minute, f.Rule.Delay)
	assert.Equal(t, 7*time.Minute, f.Rule.Bypass)

	// What is needed cannot be taken away.
	_, err := Load("u", []byte(least), []string{"trailer=", "instruments.analyzer.signals.product_conductivity="}, ForRun)
	assert.EqualError(t, err, `u:2:1: trailer: missing; want the trailer's id, used in topics and keys, such as T-07
u:7:7: instruments.analyzer.signals: holds no signal; want at least one, such as product_conductivity`)
}

func TestSetFaultsNameTheSet(t *testing.T) {
	for set, want := range map[string]string{
		"off_spec.delay=abc":       `--set off_spec.delay=abc: "abc" is not a duration; want one such as 10m, 90s, 1h30m or 250ms`,
		"off_spec.delay=5m,10m":    `--set off_spec.delay=5m,10m: "5m,10m" is not a duration; want one such as 10m, 90s, 1h30m or 250ms`,
		"off_spec.dealy=5m":        `--set off_spec.dealy=5m: unknown key; the nearest known key is delay (known here: endpoint, delay, bypass, clear_band, clear_delay, keep_trip, resolution, agreed_by)`,
		"delay=5m":                 `--set delay=5m: unknown key here; its place is off_spec.delay`,
		"off_spec.endpoint=0":      `--set off_spec.endpoint=0: 0 uS/cm is out of range: at least 0.001 and at most 3000 uS/cm`,
		"off_spec.clear_band=1":    `--set off_spec.clear_band=1: must be smaller than the endpoint, else no reading is ever on spec again`,
		"off_spec.keep_trip=maybe": `--set off_spec.keep_trip=maybe: "maybe" is not known; want true or false`,
		"trailer=../x":             `--set trailer=../x: "../x": want letters a to z, digits and - _ . only`,
		"trailer=-x":               `--set trailer=-x: "-x": want a letter or digit first`,
		"instruments.analyzer.signals.product_conductvity.low=1": `--set instruments.analyzer.signals.product_conductvity.low=1: instruments.analyzer.signals.product_conductvity: unknown signal; the nearest known signal is product_conductivity
--set instruments.analyzer.signals.product_conductvity.low=1: instruments.analyzer.signals.product_conductvity.register: missing; want its address as sent, the first is 0; of a coil or discrete input too, such as 2`,
		"mqtt.broker=mqtt://a:b@c": `--set mqtt.broker=***: a user or password in the address is refused; want mqtt.user and mqtt.password_file`,
		"off_spec":                 `--set off_spec: want PATH=VALUE, such as off_spec.delay=5m`,
		"":                         `--set "": want PATH=VALUE, such as off_spec.delay=5m`,
	} {
		t.Run(set, func(t *testing.T) {
			_, err := Load("unit.yaml", []byte(least), []string{set}, ForRun)
			require.Error(t, err)
			assert.EqualError(t, err, want)
		})
	}
}
