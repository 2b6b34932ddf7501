package main

import (
	"flag"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the commands print into the scripts")

func TestMain(m *testing.M) {
	if os.Getenv("IONWARD_TEST_MAIN") != "" { // a test runs this binary as the agent
		main()
	}
	testscript.Main(m, map[string]func(){"ionward": main})
}

// The scripts in testdata run the real main as its users do.
func TestScripts(t *testing.T) {
	instruments := trailer(t)
	testscript.Run(t, testscript.Params{
		Dir: "testdata", RequireExplicitExec: true, RequireUniqueNames: true, UpdateScripts: *update,
		Setup: func(e *testscript.Env) error {
			e.Setenv("TRAILER", instruments)
			return nil
		},
	})
}
