package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/validation"
)

// plainWords has the library say what is wrong with a request in sentences that
// say what to write instead.
var plainWords = sync.OnceFunc(func() {
	for to, words := range map[*string]string{
		&validation.MsgUnexpectedProperty:         "is not known here: leave it out, or check its spelling",
		&validation.MsgExpectedBoolean:            "want true or false",
		&validation.MsgExpectedNumber:             "want a number",
		&validation.MsgExpectedInteger:            "want a whole number",
		&validation.MsgExpectedString:             "want a text in quotes",
		&validation.MsgExpectedArray:              "want a list",
		&validation.MsgExpectedObject:             "want names and values in braces",
		&validation.MsgExpectedOneOf:              `want one of "%s"`,
		&validation.MsgExpectedMinimumNumber:      "want at least %v",
		&validation.MsgExpectedMaximumNumber:      "want at most %v",
		&validation.MsgExpectedMinLength:          "want at least %d letters",
		&validation.MsgExpectedMaxLength:          "want at most %d letters",
		&validation.MsgExpectedMinItems:           "want at least %d in the list",
		&validation.MsgExpectedMaxItems:           "want at most %d in the list",
		&validation.MsgExpectedRequiredProperty:   "%s is missing",
		&validation.MsgExpectedRFC3339Date:        "want a day such as 2026-05-02",
		&validation.MsgExpectedRFC3339DateTime:    "want a time such as 2026-05-02T14:05:00Z",
		&validation.MsgExpectedMatchPattern:       "want it of the form %s",
		&validation.MsgExpectedArrayItemsUnique:   "want nothing twice",
		&validation.MsgExpectedNumberBeMultipleOf: "want a multiple of %v",
	} {
		*to = words
	}
	huma.NewErrorWithContext = func(_ huma.Context, status int, msg string, errs ...error) huma.StatusError {
		return huma.NewError(status, wrong(status, msg, errs))
	}
})

// parsed are what the library says of a parameter that cannot be read, and what
// we do.
var parsed = map[string]string{
	"invalid integer": "want a whole number",
	"invalid float":   "want a number",
	"invalid boolean": "want true or false",
	"expected at most one value, but received multiple values": "is given twice: give it once",
}

// wrong says what is wrong with a request and what to do.
func wrong(status int, msg string, errs []error) string {
	switch {
	case status == http.StatusRequestEntityTooLarge:
		return "That is more than can be taken at once. Send less."
	case status == http.StatusRequestTimeout:
		return "The request did not come whole in time. Send it again."
	case status == http.StatusUnsupportedMediaType:
		return "That kind of text is not read here. Send JSON, with the header Content-Type: application/json."
	case status == http.StatusNotAcceptable:
		return "This is given as JSON only. Ask for application/json."
	case msg == "request body is required":
		return "The request says nothing. Send what is wanted as JSON."
	case status >= http.StatusInternalServerError:
		return sentence("this program has a fault here: " + errors.Join(append([]error{errors.New(msg)}, errs...)...).Error() + ". The logbook is unharmed. Ask again")
	}
	var out []string
	for _, err := range errs {
		out = append(out, sentence(wrongWith(err)))
	}
	if len(out) == 0 {
		return sentence("the request cannot be read: " + msg + ". Check it and send it again")
	}
	return strings.Join(out, " ")
}

// wrongWith says what is wrong with one parameter or value.
func wrongWith(err error) string {
	var d *huma.ErrorDetail
	if !errors.As(err, &d) {
		return "the request cannot be read: " + printable(err.Error()) + ". Check it and send it again"
	}
	where, name, _ := strings.Cut(d.Location, ".")
	if name == "" {
		name = where
	}
	if missing, ok := strings.CutSuffix(d.Message, " is missing"); ok {
		if strings.HasPrefix(missing, "required ") { // a parameter
			missing = name
		}
		return missing + " is missing: say which"
	}
	words, ok := parsed[d.Message]
	switch {
	case ok:
	case name == "body" && !strings.HasPrefix(d.Message, "want "):
		return "the request is no JSON that can be read: " + printable(d.Message) + ". Check it and send it again"
	default:
		words = d.Message
	}
	if strings.HasPrefix(words, "is ") {
		return printable(name) + " " + words
	}
	switch v := d.Value.(type) {
	case string, float64, int, int64, bool:
		words += ", not " + printable(fmt.Sprint(v))
	}
	if name == "body" {
		return words
	}
	return printable(name) + ": " + words
}
