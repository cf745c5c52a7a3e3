package plain_test

import (
	"strings"
	"testing"

	"evenstand/format/plain"
)

func TestCropNote(t *testing.T) {
	for word, want := range map[string]string{
		"":           "",
		"corn":       "",
		"Corn":       "",
		"sugar_beet": "",
		"soybean":    "is it soybeans?",
		"maize":      "is it corn?",
		"milo":       "is it sorghum?",
		"barley":     "known are corn, soybeans, sunflower, sorghum, sugar beet, cotton",
	} {
		got := plain.CropNote(word)
		if (want == "") != (got == "") || !strings.Contains(got, want) {
			t.Errorf("%q: %q, want %q in it", word, got, want)
		}
	}
	card, err := plain.ReadCard("c", []byte("card = 1\nrows = 6\n[[meter]]\nrows = \"1-3\"\ncrop = \"Sugar-Beet\"\n[[meter]]\nrows = \"4-6\"\ncrop = \"Oats\"\n"))
	if err != nil || card.Crop(1) != "sugar beet" || card.Crop(4) != "Oats" {
		t.Errorf("crops %q and %q, %v", card.Crop(1), card.Crop(4), err)
	}
	if n := plain.CropNotes(&card); len(n) != 1 || !strings.Contains(n[0], `"Oats"`) {
		t.Errorf("notes %q", n)
	}
}
