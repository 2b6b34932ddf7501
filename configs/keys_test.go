package configs

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
)

// actual puts names into a described path, so that it can be set on the least file.
func actual(path string) string {
	path = strings.ReplaceAll(path, "<name>", "analyzer")
	path = strings.ReplaceAll(path, "<setting>", "cell_constant")
	if strings.Contains(path, ".pulse.") { // only water is counted
		return strings.ReplaceAll(path, "<signal>", "flow")
	}
	return strings.ReplaceAll(path, "<signal>", "product_conductivity")
}

// company is what else must be set for one key to be without a fault.
var company = map[string][]string{
	"mqtt.cert":          {"mqtt.cert=c.pem", "mqtt.key=k.pem"},
	"mqtt.key":           {"mqtt.cert=c.pem", "mqtt.key=k.pem"},
	"mqtt.password_file": {"mqtt.user=u"},

	"instruments.<name>.signals.<signal>.current.from":  inLoop,
	"instruments.<name>.signals.<signal>.current.to":    inLoop,
	"instruments.<name>.signals.<signal>.pulse.k":       inPulses,
	"instruments.<name>.signals.<signal>.pulse.per":     inPulses,
	"instruments.<name>.signals.<signal>.pulse.modulus": inPulses,
	"instruments.<name>.signals.<signal>.pulse.most":    inPulses,
	"instruments.<name>.signals.<signal>.pulse.window":  inPulses,

	"instruments.<name>.settings.<setting>.register":  ofSetting,
	"instruments.<name>.settings.<setting>.kind":      ofSetting,
	"instruments.<name>.settings.<setting>.type":      ofSetting,
	"instruments.<name>.settings.<setting>.scale":     ofSetting,
	"instruments.<name>.settings.<setting>.offset":    ofSetting,
	"instruments.<name>.settings.<setting>.value":     ofSetting,
	"instruments.<name>.settings.<setting>.tolerance": ofSetting,

	"user_alarms.<name>.signal":    ofUser("above"),
	"user_alarms.<name>.above":     ofUser("above"),
	"user_alarms.<name>.below":     ofUser("below"),
	"user_alarms.<name>.not_equal": ofUser("not_equal"),
	"user_alarms.<name>.deadband":  ofUser("above"),
	"user_alarms.<name>.for":       ofUser("above"),
	"user_alarms.<name>.priority":  ofUser("above"),
	"user_alarms.<name>.message":   ofUser("above"),
}

// The least that a section of an instrument needs to be whole.
var (
	inLoop = []string{
		"instruments.analyzer.signals.product_conductivity.current.from=1", "instruments.analyzer.signals.product_conductivity.current.to=100",
	}
	inPulses = []string{
		"instruments.analyzer.signals.flow.register=30", "instruments.analyzer.signals.flow.type=u16",
		"instruments.analyzer.signals.flow.pulse.k=99", "instruments.analyzer.signals.flow.pulse.per=L",
	}
	ofSetting = []string{"instruments.analyzer.settings.cell_constant.register=50", "instruments.analyzer.settings.cell_constant.value=7"}
)

// ofUser is the least alarm of the unit file.
func ofUser(test string) []string {
	return []string{"user_alarms.analyzer.signal=feed_temperature", "user_alarms.analyzer." + test + "=0"}
}

func values(keys []Key) []Key {
	var list []Key
	for _, k := range keys {
		if k.Form != Section && k.Form != NamedList {
			list = append(list, k)
		}
	}
	return list
}

func TestEveryDescribedKeyIsAcceptedAndChangesTheFile(t *testing.T) {
	for _, k := range values(Keys()) {
		require.NotEmpty(t, k.Example, k.Path)
		path := actual(k.Path)
		with := company[k.Path]
		before := load(t, least, with...)
		after := load(t, least, append(with, path+"="+k.Example)...)
		before.Warnings, after.Warnings = nil, nil
		if len(k.Choices) == 1 {
			continue // there is no other value to see an effect by
		}
		assert.NotEqual(t, before, after, "%s is accepted and has no effect", k.Path)
	}
}

func TestDescribedDefaultsAreTheRealOnes(t *testing.T) {
	for _, k := range values(Keys()) {
		if k.Default == "" || strings.HasPrefix(k.Default, "(") {
			continue
		}
		with := company[k.Path]
		plain := load(t, least, with...)
		written := load(t, least, append(with[:len(with):len(with)], actual(k.Path)+"="+k.Default)...)
		plain.Warnings, written.Warnings = nil, nil
		assert.Equal(t, plain, written, "default of %s", k.Path)
	}
}

func TestChoicesAreAllAccepted(t *testing.T) {
	for _, k := range values(Keys()) {
		for _, c := range k.Choices {
			switch {
			case strings.HasSuffix(k.Path, ".kind"), strings.HasSuffix(k.Path, ".type"), strings.HasSuffix(k.Path, ".unit"):
				// Whether one fits depends on the signal; that each is known is shown by the words of the fault.
				_, err := Load("u", []byte(least), []string{actual(k.Path) + "=" + c}, ForRun)
				if err != nil {
					assert.NotContains(t, err.Error(), "not known", "%s=%s", k.Path, c)
				}
			default:
				with := company[k.Path]
				load(t, least, append(with[:len(with):len(with)], actual(k.Path)+"="+c)...)
			}
		}
	}
}

// leaves lists the paths of all values in a tree, with free names as described.
func leaves(path string, n *yaml.Node) []string {
	if n.Kind != yaml.MappingNode {
		return []string{path}
	}
	var list []string
	for i := 0; i < len(n.Content); i += 2 {
		name := n.Content[i].Value
		switch path {
		case "instruments", "user_alarms":
			name = "<name>"
		case "instruments.<name>.signals":
			name = "<signal>"
		case "instruments.<name>.settings":
			name = "<setting>"
		}
		list = append(list, leaves(strings.TrimPrefix(path+"."+name, "."), n.Content[i+1])...)
	}
	return list
}

// commented finds a key behind a comment mark: "# key: value" at any depth.
var commented = regexp.MustCompile(`(?m)^(\s*)# (\s*)([a-z_-]+:( .*)?)$`)

// The bench file is the manual of the unit file: it shows every key, some of them commented out. Uncommented, it must
// load, and hold exactly the keys that are described.
func TestBenchFileShowsEveryKey(t *testing.T) {
	data, err := os.ReadFile("bench-unit.yaml")
	require.NoError(t, err)
	full := commented.ReplaceAll(data, []byte("$1$2$3"))
	_, err = Load("bench-unit.yaml", full, nil, ForRun)
	require.NoError(t, err)

	var doc yaml.Node
	require.NoError(t, yaml.Load(full, &doc))
	shown := map[string]bool{}
	for _, path := range leaves("", doc.Content[0]) {
		shown[path] = true
	}
	described := map[string]bool{}
	for _, k := range values(Keys()) {
		described[k.Path] = true
	}
	assert.Equal(t, described, shown)
}

func TestKeysAreDescribedOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range Keys() {
		assert.False(t, seen[k.Path], "%s twice", k.Path)
		seen[k.Path] = true
		assert.NotEmpty(t, k.Form, k.Path)
		assert.NotEmpty(t, k.Meaning, k.Path)
		if i := strings.LastIndexByte(k.Path, '.'); i > 0 {
			assert.True(t, seen[k.Path[:i]], "%s comes before its section", k.Path)
		}
	}
	assert.True(t, seen["instruments.<name>.signals.<signal>.sentinel"])
}
