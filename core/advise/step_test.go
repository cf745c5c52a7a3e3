package advise_test

import (
	"testing"

	"evenstand/core/advise"
)

func TestFirstStep(t *testing.T) {
	for do, want := range map[string]string{
		"":                            "",
		"Clear the disc, or swap it.": "Clear the disc, or swap it.",
		"Drive a taped 300 ft and compare with what the box shows; mind the tire pressure.":                                "Drive a taped 300 ft and compare with what the box shows.",
		"It ended by itself at 1:24 pm. At the next stop hold the disc against the light: a seed may be stuck.":            "At the next stop hold the disc against the light: a seed may be stuck.",
		"It ended by itself at 9:52 am. At the next stop look. Then look at the bare ground, 767 ft: does going back pay?": "At the next stop look.",
		"It ended by itself at 1:24 pm.":              "It ended by itself at 1:24 pm.",
		"Does it hold seed? Then look into the tube.": "Does it hold seed?",
		"The log cannot tell seeds that are missing from seeds that are not seen, so first swap the sensor. Then look.": "Swap the sensor.",
		"Take 1.5 in off. Look again.": "Take 1.5 in off.",
	} {
		if got := advise.FirstStep(do); got != want {
			t.Errorf("%q\n got %q\nwant %q", do, got, want)
		}
	}
}
