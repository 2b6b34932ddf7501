package configs

import "embed"

// Examples are the example unit files of this folder, by their names.
//
//go:embed *.yaml
var Examples embed.FS
