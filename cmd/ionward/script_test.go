package main

import (
	"flag"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the commands print into the scripts")

func TestMain(m *testing.M) { testscript.Main(m, map[string]func(){"ionward": main}) }

// The scripts in testdata run the real main as its users do.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata", RequireExplicitExec: true, RequireUniqueNames: true, UpdateScripts: *update,
	})
}
