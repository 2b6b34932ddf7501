// Package cmd_test keeps the house in order: who may import whom.
package cmd_test

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "ionward"

// arrow says what packages may import of this module. "a/..." is a and all below it, as the go command writes it.
type arrow struct {
	from string
	to   []string
	why  string
}

// arrows are all that is allowed. The first row that fits a package counts; a package without a row may not exist.
var arrows = []arrow{
	{"cmd/line", list("agent/trace configs"),
		"the manners of a command line need to know whose faults are the user's, and nothing else"},
	{"cmd/ionward", list("cmd/line agent/... rules/... configs"),
		"what runs beside a real trailer must not be able to show a simulated number"},
	{"cmd/ionward-sim", list("cmd/line simulate/... agent/... rules/... configs"),
		"a command puts parts together; parts never know a command"},

	{"configs", list("rules/..."),
		"the loader knows names, units and the rule's own checks; the commands turn what it loads into each part's Settings"},

	{"rules", list("rules/alarm rules/water rules/signal"),
		"the rule is pure: it must be possible to re-step a record with nothing else at hand"},
	{"rules/signal", nil, "what a reading is stands at the bottom of everything"},
	{"rules/...", list("rules/signal"), "alarm and water are laws of their own and know readings only"},

	{"agent", list("rules/..."),
		"the loop knows its ports as interfaces; a loop that knew one of them could wait for it"},
	{"agent/modbus", nil, "a transport carries registers and knows nothing of water"},
	{"agent/modbus/modbustest", nil, "the far end for tests knows nothing of the link that is tested with it"},
	{"agent/words", list("rules/..."), "a phrase is made of a reason and nothing else"},
	{"agent/describe", list("rules/..."), "what a unit does is found by stepping the rule with its settings, and needs nothing else"},
	{"agent/chart", list("rules/..."), "a drawing is made of numbers and nothing else"},
	{"agent/trace", list("agent agent/modbus rules/..."), port},
	{"agent/poll", list("agent agent/modbus rules/..."), port},
	{"agent/probe", list("agent/modbus rules/..."),
		"commissioning reads a device by itself, beside no loop: it needs a link and the names of signals, and nothing else"},
	{"agent/metrics", list("agent agent/modbus rules/..."), port},
	{"agent/registers", list("agent agent/modbus rules/..."), port},
	{"agent/journal", list("agent rules/..."), port},
	{"agent/forward", list("agent agent/journal rules/..."),
		"back-off, cursor and window are the same for every publisher, so forward knows the journal and no publisher"},
	{"agent/forward/forwardtest", list("agent agent/forward agent/journal rules/..."),
		"one shared test serves every publisher, so it knows none"},
	{"agent/report", list("agent agent/words agent/chart agent/trace agent/journal rules/..."),
		"a document is made of the record, with the words and drawings of the screen"},
	{"agent/station", list("agent agent/... rules/... configs"),
		"the station puts the parts together for both binaries: it alone may know every port"},
	{"agent/screen", list("agent agent/report agent/chart agent/words agent/journal rules/..."),
		"the screen shows the present and the record; it must not reach an instrument or a publisher"},
	{"agent/mqtt", list("agent agent/forward agent/journal agent/words rules/..."), publisher},
	{"agent/sparkplug", list("agent agent/forward agent/journal agent/words rules/..."), publisher},
	{"agent/sql", list("agent agent/forward agent/journal agent/words rules/..."), publisher},
	{"agent/files", list("agent agent/forward agent/journal agent/words rules/..."), publisher},
	{"agent/notify", list("agent agent/forward agent/journal agent/words rules/..."), publisher},
	{"agent/station", list("agent/... rules/... configs"),
		"the one place that puts the ports together, the same for both commands; it must not be able to show a simulated number"},

	{"simulate/plant", list("rules/..."), "the model of the trailer is pure, so that an exercise runs the same every time"},
	{"simulate/...", list("simulate/... agent agent/modbus agent/trace agent/report agent/chart agent/words rules/..."),
		"training sits on the agent's loop; it must not deliver to a real broker, journal or screen by itself"},
}

const (
	port      = "a port speaks with the loop, never with another port: each must be able to fail alone"
	publisher = "a publisher reads the journal through forward and knows no other port: each must be able to fail alone"
)

func list(s string) []string { return strings.Fields(s) }

// fits reports whether a path of this module is what the pattern says.
func fits(pattern, path string) bool {
	base, all := strings.CutSuffix(pattern, "/...")
	return path == base || all && strings.HasPrefix(path, base+"/")
}

// pkg is what the go command tells of a package.
type pkg struct {
	ImportPath                         string
	Imports, TestImports, XTestImports []string
}

func TestArrows(t *testing.T) {
	watch(t)
	seen := map[string]bool{}
	// Each system has files of its own, and a wrong import may hide in those.
	for _, system := range []string{"linux", "windows"} {
		for _, p := range goList(t, system, "./...") {
			name := own(p.ImportPath)
			seen[name] = true
			for _, fault := range judge(name, p.Imports) {
				assert.Fail(t, fault)
			}
			for _, path := range slices.Concat(p.TestImports, p.XTestImports) {
				outside := fits("cmd/...", own(path)) && !fits("cmd/...", name)
				assert.Falsef(t, outside, "a test of %s imports %s: nothing outside cmd imports from it, not even a test; run the command instead", name, path)
			}
		}
	}
	for _, name := range []string{"agent", "rules", "rules/signal", "rules/alarm"} {
		assert.True(t, seen[name], "package %s was not seen: this test would prove nothing", name)
	}
	// Parts may come one by one, but a binary means that the house stands.
	if seen["cmd/ionward"] {
		for _, name := range list("agent/modbus agent/poll agent/journal agent/forward agent/mqtt agent/metrics agent/screen agent/words configs") {
			assert.True(t, seen[name], "cmd/ionward exists, but package %s was not seen: was it renamed? then rename it in the table too", name)
		}
	}
}

// judge lists the imports of a package that no arrow allows.
func judge(name string, imports []string) []string {
	at := slices.IndexFunc(arrows, func(a arrow) bool { return fits(a.from, name) })
	inCmd := name == "cmd" // this test's own folder
	if at < 0 && !inCmd {
		return []string{"package " + name + " has no row in the table of arrows: say there what it may import, and why"}
	}
	var faults []string
	for _, path := range imports {
		to := own(path)
		if to == "" || at >= 0 && slices.ContainsFunc(arrows[at].to, func(p string) bool { return fits(p, to) }) {
			continue
		}
		why := "a test only"
		if at >= 0 {
			why = arrows[at].why
		}
		faults = append(faults, name+" imports "+to+", which no arrow allows: "+why)
	}
	return faults
}

// own is the path below this module, "" for others.
func own(path string) string {
	name, ok := strings.CutPrefix(path, module+"/")
	if !ok {
		return ""
	}
	return name
}

// Each of these must be caught, or the table has a hole.
func TestForbiddenArrowsAreFound(t *testing.T) {
	for _, wrong := range [][2]string{
		{"cmd/ionward", "simulate/plant"}, {"cmd/ionward", "cmd/ionward-sim"}, {"cmd/line", "agent/station"}, {"agent/station", "cmd/line"},
		{"agent", "agent/poll"}, {"agent", "simulate/plant"}, {"agent/poll", "simulate/instruments"},
		{"agent/metrics", "agent/screen"}, {"agent/poll", "agent/metrics"}, {"agent/screen", "agent/poll"}, {"agent/screen", "agent/modbus"},
		{"agent/mqtt", "agent/sql"}, {"agent/forward", "agent/mqtt"}, {"agent/journal", "agent/forward"}, {"agent/modbus", "rules/signal"},
		{"rules", "agent"}, {"rules/signal", "rules"}, {"rules/alarm", "rules"}, {"rules/alarm", "rules/water"}, {"rules/water", "configs"},
		{"configs", "agent/modbus"}, {"simulate/plant", "agent"}, {"simulate/drill", "agent/mqtt"}, {"simulate/drill", "cmd/ionward-sim"}, {"agent/opera", "rules"},
		{"agent/station", "simulate/plant"}, {"agent/screen", "agent/station"}, {"simulate/drill", "agent/station"}, {"agent/mqtt", "agent/forward/forwardtest"},
	} {
		faults := judge(wrong[0], []string{"time", module + "/" + wrong[1]})
		if assert.Len(t, faults, 1, "%s -> %s", wrong[0], wrong[1]) {
			assert.Contains(t, faults[0], wrong[0])
		}
	}
	assert.Empty(t, judge("agent/poll", []string{"time", module + "/agent", module + "/agent/modbus", module + "/rules/signal"}))
}

// Linked is more than imported: a package reached through three others is in the binary as well.
func TestWhatRunsBesideATrailerHoldsNoSimulation(t *testing.T) {
	watch(t)
	if _, err := os.Stat("ionward"); errors.Is(err, fs.ErrNotExist) {
		require.Empty(t, os.Getenv("IONWARD_NO_SKIP"), "there is no cmd/ionward, and IONWARD_NO_SKIP is set")
		t.Skip("there is no cmd/ionward yet")
	}
	for _, system := range []string{"linux", "windows"} {
		linked := goList(t, system, "-deps", "./cmd/ionward")
		require.Greater(t, len(linked), 50, "the go command listed hardly anything: this test would prove nothing")
		for _, p := range linked {
			for _, never := range []string{module + "/simulate/...", "github.com/mochi-mqtt/...", "testing", "github.com/stretchr/..."} {
				assert.Falsef(t, fits(never, p.ImportPath), "cmd/ionward links %s (%s), through whatever package: "+
					"beside a real trailer there must be no way to show a simulated number, nor a broker or test code", p.ImportPath, system)
			}
		}
	}
}

// goList asks the go command about packages of this module.
func goList(t *testing.T, system string, args ...string) []pkg {
	command := exec.CommandContext(t.Context(), "go", append([]string{"list", "-e", "-json=ImportPath,Imports,TestImports,XTestImports"}, args...)...)
	command.Dir = ".."
	command.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
	var trouble strings.Builder
	command.Stderr = &trouble
	out, err := command.Output()
	require.NoError(t, err, trouble.String())
	var all []pkg
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p pkg
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, p)
	}
}

// watch opens every source of the module: a cached result of this test is thrown away only if a file that the test
// itself opened has changed, and the go command's reading does not count.
func watch(t *testing.T) {
	require.NoError(t, filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != ".." && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case strings.HasSuffix(path, ".go"):
			_, err = os.ReadFile(path)
		}
		return err
	}))
}
