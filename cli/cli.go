package cli

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
	"strings"

	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/pipeline"
)

// Version is the program's version.
const Version = "0.1.0"

// Exit codes.
const (
	exitDone    = 0
	exitFailed  = 1
	exitUsage   = 2
	exitUnused  = 3 // done, with some input unused
	exitBook    = 4 // the book is in use, or of a newer version
	exitStopped = 130
)

// Env is all that a command touches of the world beside files.
type Env struct {
	Args   []string
	Stdin  io.Reader // answers to questions; nil: there are none
	Stdout io.Writer
	Stderr io.Writer
	Getenv func(string) string
	Name   string // the program as it was called; empty: evenstand
}

// spoken finds the program's name in front of a command.
var spoken = regexp.MustCompile(`\bevenstand (COMMAND|help|new|open|read|recipe|replay|worklist|show|done|set-aside|note|sources|trial|cost|give|walk|count|replant|makeup|paper|rebuild|check|simulate|score)\b`)

// named writes the commands in a text with the name by which the program was
// called, so that they can be copied.
func (e *Env) named(text string) string {
	if e.Name == "" || e.Name == "evenstand" {
		return text
	}
	return spoken.ReplaceAllStringFunc(text, func(s string) string { return e.Name + strings.TrimPrefix(s, "evenstand") })
}

// command is one word of the command line.
type command struct {
	name    string
	args    string // of the usage line
	what    string // one line
	help    string // more, with examples
	least   int    // positional arguments
	most    int    // -1: any number
	setup   func(*flag.FlagSet) any
	run     func(ctx context.Context, c *call, opts any) error
	reports bool // takes --json
}

// call is one run of a command.
type call struct {
	Env
	cmd  *command
	args []string
	json bool
	code int // exit code when run returns nil
}

// commands lists all there are, in the order of a day.
func commands() []command {
	return []command{
		newCommand(), openCommand(), readCommand(), recipeCommand(), replayCommand(), worklistCommand(), showCommand(), doneCommand(), asideCommand(), noteCommand(),
		sourcesCommand(), groundCommand(), effectsCommand(), balanceCommand(), trialCommand(), handOverCommand(), changedCommand(), costCommand(), giveCommand(), walkCommand(), countCommand(), replantCommand(), makeUpCommand(), paperCommand(), rebuildCommand(), checkCommand(), simulateCommand(), scoreCommand(),
	}
}

// usageError is a call that cannot be understood.
type usageError struct{ msg string }

func (e usageError) Error() string { return e.msg }

func usagef(format string, a ...any) error { return usageError{fmt.Sprintf(format, a...)} }

// Run runs one command and gives its exit code.
func Run(ctx context.Context, env Env) int {
	cmds := commands()
	if len(env.Args) == 0 {
		overview(env, env.Stderr, cmds)
		return exitUsage
	}
	name, rest := env.Args[0], env.Args[1:]
	switch name {
	case "help", "-h", "--help":
		if len(rest) > 0 {
			for i := range cmds {
				if cmds[i].name == rest[0] {
					cmds[i].usage(env, env.Stdout)
					return exitDone
				}
			}
			return noCommand(env, rest[0])
		}
		overview(env, env.Stdout, cmds)
		return exitDone
	case "version", "--version":
		fmt.Fprintln(env.Stdout, "evenstand", Version)
		return exitDone
	}
	for i := range cmds {
		if cmds[i].name == name {
			return cmds[i].call(ctx, env, rest)
		}
	}
	return noCommand(env, name)
}

func noCommand(env Env, name string) int {
	fmt.Fprint(env.Stderr, env.named(fmt.Sprintf("evenstand: there is no command %q. Say evenstand help for the list.\n", name)))
	return exitUsage
}

func overview(env Env, w io.Writer, cmds []command) {
	fmt.Fprint(w, "evenstand reads what the boxes of a row-crop planter logged and says what is\noff, on which row, since when, why, what it costs and what to do.\n\n")
	for _, c := range cmds {
		for _, l := range record.Wrap(fmt.Sprintf("  %-10s ", c.name), c.what, width) {
			fmt.Fprintln(w, l)
		}
	}
	fmt.Fprint(w, env.named("  version    print the version\n\nSay evenstand help COMMAND for one of them. A first day:\n\n  evenstand new spring --planter card.toml --price 4.50/bu --yield 190bu/ac\n  evenstand read spring /media/stick\n  evenstand worklist spring\n\n"))
	fmt.Fprint(w, "Exit codes: 0 done, 1 failed, 2 the call was not understood, 3 done with some\ninput unused, 4 the logbook is in use or of a newer version, 130 stopped.\n")
}

func (c *command) flags() (*flag.FlagSet, any, *bool) {
	fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	var opts any
	if c.setup != nil {
		opts = c.setup(fs)
	}
	asJSON := new(bool)
	if c.reports {
		asJSON = fs.Bool("json", false, "print JSON instead of text")
	}
	return fs, opts, asJSON
}

func (c *command) usage(env Env, w io.Writer) {
	fs, _, _ := c.flags()
	for _, l := range record.Wrap(env.named("evenstand "+c.name)+" ", c.args, width) {
		fmt.Fprintln(w, l)
	}
	fmt.Fprintf(w, "\n%s.\n", advise.Capital(c.what))
	n := 0
	fs.VisitAll(func(f *flag.Flag) {
		if n == 0 {
			fmt.Fprintln(w)
		}
		n++
		word, text := flag.UnquoteUsage(f)
		for _, l := range record.Wrap(fmt.Sprintf("  --%-18s ", strings.TrimSpace(f.Name+" "+strings.ToUpper(word))), text, width) {
			fmt.Fprintln(w, l)
		}
	})
	if c.help != "" {
		fmt.Fprintf(w, "\n%s\n", env.named(strings.TrimSpace(c.help)))
	}
}

// call parses the arguments, flags before or after the others, and runs.
func (c *command) call(ctx context.Context, env Env, args []string) int {
	flags, opts, asJSON := c.flags()
	var pos []string
	for len(args) > 0 {
		if err := flags.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				c.usage(env, env.Stdout)
				return exitDone
			}
			for _, l := range record.Wrap("", env.named(fmt.Sprintf("evenstand %s: %s. Say evenstand help %s.", c.name, flagTrouble(err), c.name)), width) {
				fmt.Fprintln(env.Stderr, l)
			}
			return exitUsage
		}
		rest := flags.Args()
		if len(rest) == 0 {
			break
		}
		if len(args) > len(rest) && args[len(args)-len(rest)-1] == "--" {
			pos = append(pos, rest...)
			break
		}
		pos = append(pos, rest[0])
		args = rest[1:]
	}
	if len(pos) < c.least || (c.most >= 0 && len(pos) > c.most) {
		wrong := ""
		switch {
		case len(pos) == 0 && strings.HasPrefix(c.args, "BOOK"):
			wrong = "which logbook? "
		case len(pos) < c.least:
			wrong = "which " + strings.TrimRight(strings.Fields(c.args)[len(pos)], "…") + "? "
		default:
			wrong = fmt.Sprintf("%q is one argument too many. ", pos[c.most])
		}
		run := &call{Env: env}
		run.hint(env.Stderr, env.named("evenstand "+c.name+": ")+wrong+"Say", "evenstand "+c.name+" "+c.args)
		return exitUsage
	}
	run := &call{Env: env, cmd: c, args: pos, json: *asJSON}
	err := c.run(ctx, run, opts)
	if err == nil {
		return run.code
	}
	code := exitFailed
	var use usageError
	switch {
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		if c.least > 0 && strings.HasPrefix(c.args, "BOOK") {
			fmt.Fprintln(env.Stderr, "evenstand: stopped. The logbook is sound; the same command goes on from here.")
		} else {
			fmt.Fprintln(env.Stderr, "evenstand: stopped. What is there is not whole; delete it and say the command again.")
		}
		return exitStopped
	case errors.As(err, &use):
		code = exitUsage
	case errors.Is(err, book.ErrInUse), errors.Is(err, book.ErrNewer):
		code = exitBook
	}
	for i, l := range strings.Split(env.named("evenstand "+c.name+": "+sentence(err)), "\n") {
		hang := ""
		if i > 0 {
			hang = "  "
		}
		for _, w := range record.Wrap(hang, l, width) {
			fmt.Fprintln(env.Stderr, w)
		}
	}
	return code
}

// flagTrouble says in our words what the flag package says in its own.
func flagTrouble(err error) string {
	s := err.Error()
	if name, ok := strings.CutPrefix(s, "flag provided but not defined: -"); ok {
		return "there is no flag --" + strings.TrimPrefix(name, "-")
	}
	if name, ok := strings.CutPrefix(s, "flag needs an argument: -"); ok {
		return "--" + name + " wants something after it"
	}
	if what, ok := strings.CutPrefix(s, "invalid value "); ok {
		value, rest, _ := strings.Cut(what, " for flag -")
		name, _, _ := strings.Cut(rest, ":")
		return "--" + name + " cannot be " + value
	}
	if what, ok := strings.CutPrefix(s, "invalid boolean value "); ok {
		value, rest, _ := strings.Cut(what, " for -")
		name, _, _ := strings.Cut(rest, ":")
		return "--" + name + " stands alone and cannot be " + value
	}
	return s
}

// hint writes a sentence and the command that goes with it, which stays on one
// line so that it can be copied.
func (c *call) hint(w io.Writer, why, command string) {
	command = c.named(command)
	lines := record.Wrap("", why+" "+command, width)
	if len(lines) > 1 {
		lines = append(record.Wrap("", why, width), "  "+command)
	}
	for _, l := range lines {
		fmt.Fprintln(w, l)
	}
}

// missing makes an error of a file that is not there say what to do.
func missing(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: there is no such file or folder. Check the spelling", path)
	}
	return err
}

// sentence ends an error like a sentence.
func sentence(err error) string {
	s := err.Error()
	if !strings.HasSuffix(s, ".") && !strings.HasSuffix(s, "?") {
		s += "."
	}
	return s
}

func (c *call) printJSON(v any) error {
	e := json.NewEncoder(c.Stdout)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// width is how wide texts are set.
const width = 80

// text prints a text broken into lines, the first begun by first and the
// others by an indent as wide as hang.
func (c *call) text(first, hang, text string) {
	for i, l := range record.Wrap(hang, text, width) {
		if i == 0 {
			l = first + strings.TrimPrefix(l, hang)
		}
		c.printf("%s\n", l)
	}
}

func (c *call) printf(format string, a ...any) { fmt.Fprintf(c.Stdout, format, a...) }

// say tells the person something that is not a result.
func (c *call) say(format string, a ...any) {
	for _, l := range record.Wrap("", fmt.Sprintf(format, a...), width) {
		fmt.Fprintln(c.Stderr, l)
	}
}

// open opens a book for a command.
func (c *call) open(dir string) (*book.Book, error) { return c.openWith(dir, pipeline.Settle) }

// openWith opens a book with a deriver of its own.
func (c *call) openWith(dir string, derive book.Deriver) (*book.Book, error) {
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: there is no such folder. Check the spelling, or say evenstand new %s to make a logbook", dir, dir)
	}
	return book.Open(dir, book.Options{Derive: derive})
}

// colour tells whether emphasis may be used: on a terminal that can, unless
// NO_COLOR is set (no-color.org, an informal convention).
func (c *call) colour() bool {
	return isTerminal(c.Stdout) && c.Getenv("NO_COLOR") == "" && c.Getenv("TERM") != "dumb"
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	st, err := f.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}

// list is a flag that may be given several times.
type list []string

func (l *list) String() string     { return strings.Join(*l, ",") }
func (l *list) Set(s string) error { *l = append(*l, s); return nil }

// plural writes a count with its word.
func plural(n int, one, many string) string { return advise.Plural(int64(n), one, many) }
