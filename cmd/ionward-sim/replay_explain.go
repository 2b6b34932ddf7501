package main

import (
	"errors"

	"github.com/spf13/cobra"

	"ionward/agent/words"
	"ionward/cmd/line"
	"ionward/configs"
	"ionward/simulate/replay"
)

// runExplain prints what the rule saw, decided and waited for at one instant of the trace.
func runExplain(cmd *cobra.Command, name string, o *replayOptions, format replay.Format, file *configs.File) error {
	at, err := replay.ParseInstant(o.explain)
	if err != nil {
		return line.Usagef("--explain: %w", err)
	}
	switch {
	case format == replay.CSV:
		return line.Usagef("--explain prints text or jsonl, not csv")
	case o.pace > 0 || o.journal != "":
		return line.Usagef("--explain goes with neither --pace nor --journal")
	}
	reader, err := openTrace(name, cmd.InOrStdin(), o.traceSettings(cmd.ErrOrStderr()))
	if err != nil {
		return err
	}
	defer reader.Close()
	phrases := words.English()
	set := replay.Settings{Rule: file.Rule, Format: format, Why: phrases.Why, State: phrases.State}
	err = replay.Explain(cmd.Context(), reader, set, phrases, at, cmd.OutOrStdout())
	var fault *replay.InstantFault
	if errors.As(err, &fault) {
		return line.Usagef("--explain: %w", err)
	}
	return err
}
