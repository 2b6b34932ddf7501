package main

import (
	"bytes"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"ionward/cmd/line"
	"ionward/simulate/replay"
)

// runWhatIf runs every combination of the lists in --set over one pass of the trace and prints the comparison.
func runWhatIf(cmd *cobra.Command, name string, o *replayOptions, format replay.Format, all []choice) error {
	if o.pace > 0 || o.journal != "" || o.explain != "" {
		return line.Usagef("a list in --set compares settings as fast as it can; it goes with neither --pace nor --journal nor --explain")
	}
	list, file, err := cases(o.config, all)
	if err != nil {
		return err
	}
	bar := newBar(cmd, o)
	reader, err := openTrace(name, cmd.InOrStdin(), o.traceSettings(bar))
	if err != nil {
		return err
	}
	defer reader.Close()
	bar.Watch(reader)
	outcomes, err := replay.WhatIf(cmd.Context(), reader, list, bar.Rows)
	bar.Done()
	if err != nil {
		return err
	}
	if err := replay.PrintOutcomes(cmd.OutOrStdout(), outcomes, format); err != nil {
		return err
	}
	if o.plot == "" {
		return nil
	}
	var picture bytes.Buffer
	if err := replay.Plot(&picture, file.Trailer, outcomes); err != nil {
		return err
	}
	if err := os.WriteFile(o.plot, picture.Bytes(), 0o666); err != nil { //nolint:gosec // a picture to be shown around
		return fmt.Errorf("cannot write the plot: %w", err)
	}
	return nil
}
