package cli

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/pipeline"
	"evenstand/web"
	"evenstand/web/ui"
)

type openOptions struct {
	listen string
	quiet  bool
	https  bool
}

// port is the one that the page is served at when it is free, so that links
// keep: any number that no common service uses.
const port = "7423"

func openCommand() command {
	return command{
		name: "open", args: "BOOK [--listen ADDRESS [--https]] [--no-browser]", what: "show the logbook in the browser",
		least: 1, most: 1,
		setup: func(fs *flag.FlagSet) any {
			o := &openOptions{}
			fs.StringVar(&o.listen, "listen", "", "`address` to serve at, such as 0.0.0.0:7423 for a tablet on the cab's own network; without it this computer alone")
			fs.BoolVar(&o.https, "https", false, "speak https with other screens, so that a phone may keep the walk list for when there is no network; it must be told once to trust this computer")
			fs.BoolVar(&o.quiet, "no-browser", false, "only print the address")
			return o
		},
		help: `
A folder that does not exist yet becomes a new, empty logbook: drop the files of
a stick on the page and go on from there.

The page is served to this computer alone. With --listen other screens on the
same network may ask for it, once they have given the pairing code that is
printed, or by the link that is printed with it: it works for one screen, which
may look and change nothing. Nothing is ever sent anywhere by itself. Stop it
with Ctrl-C.

With --https other screens are served over https alone, signed for by an authority
that is made once and kept in a folder of yours. A phone opens /trust at the
address that is printed, compares the fingerprint, installs the certificate, and
may then keep the walk list and open it where there is no network.

Examples:
  evenstand open spring
  evenstand open spring --listen 0.0.0.0:7423
  evenstand open spring --listen 0.0.0.0:7423 --https`,
		run: func(ctx context.Context, c *call, opts any) error {
			return c.serve(ctx, opts.(*openOptions))
		},
	}
}

func (c *call) serve(ctx context.Context, o *openOptions) error {
	dir := c.args[0]
	if err := c.newWhereNone(dir); err != nil {
		return err
	}
	b, err := book.Open(dir, book.Options{Derive: pipeline.Settle})
	if err != nil {
		return err
	}
	defer b.Close()
	l, err := listen(ctx, o.listen)
	if err != nil {
		return err
	}
	defer l.Close()
	opt := web.Options{
		Book: b, Formats: func() ([]evenstand.Format, error) { return formats(b) }, Page: ui.Page(), Version: Version,
		Log: slog.New(slog.NewTextHandler(c.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
	}
	address := "http://" + l.Addr().String() + "/"
	if open := l.Addr().(*net.TCPAddr); !open.IP.IsLoopback() {
		opt.Hosts, opt.Code = []string{l.Addr().String()}, web.NewCode()
		if open.IP.IsUnspecified() { // every address of this computer
			opt.Hosts = ownNames(open.Port)
			address = fmt.Sprintf("http://127.0.0.1:%d/", open.Port)
		}
	}
	made := false
	if o.https {
		if opt.Code == "" {
			return usagef("--https is for other screens: say at which address they ask too, such as --listen 0.0.0.0:%s --https", port)
		}
		if opt.Authority, made, err = web.OpenAuthority(authorityDir(c.Getenv), time.Now()); err != nil {
			return err
		}
	}
	s, err := web.New(opt)
	if err != nil {
		return err
	}
	defer s.Close()
	c.printf("The logbook is open at %s\n", address)
	if opt.Code != "" {
		c.text("", "", "Other screens: "+strings.Join(addresses(opt), ", ")+". Pairing code: "+opt.Code[:4]+" "+opt.Code[4:]+".")
		if links := s.ScreenLinks(); len(links) > 0 {
			c.printf("A link for one screen that may only look:\n  %s\n", links[0])
		}
		if opt.Authority != nil {
			c.tellTrust(opt, made)
		}
	}
	if !o.quiet {
		c.browse(address)
	}
	c.say("Stop with Ctrl-C.")
	return s.Serve(ctx, l)
}

// newWhereNone makes a logbook where there is none: in this computer's zone,
// with the rows to be learnt from the logs.
func (c *call) newWhereNone(dir string) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 || err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil // Open says what is wrong with it
	}
	s := evenstand.NewSettings()
	abs, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	s.Name, s.Zone = filepath.Base(abs), ownZone(c.Getenv)
	if !strings.HasPrefix(s.Zone, "America/") && !strings.HasPrefix(s.Zone, "US/") {
		s.Units = evenstand.Metric
	}
	if err := book.Create(dir, s, nil, nil); err != nil {
		return err
	}
	c.say("There was no logbook at %s: made one, times in %s.", dir, s.Zone)
	return nil
}

// listen opens the address that was asked for; without one the usual port of
// this computer alone or, where that is taken, any.
func listen(ctx context.Context, address string) (net.Listener, error) {
	var lc net.ListenConfig
	if address != "" {
		l, err := lc.Listen(ctx, "tcp", address)
		if err != nil {
			return nil, usagef("--listen %s: %v. Want an address of this computer and a port, such as 0.0.0.0:%s", address, err, port)
		}
		return l, nil
	}
	if l, err := lc.Listen(ctx, "tcp", "127.0.0.1:"+port); err == nil {
		return l, nil
	}
	return lc.Listen(ctx, "tcp", "127.0.0.1:0")
}

// ownNames lists the names and addresses by which this computer may be asked.
func ownNames(port int) []string {
	var out []string
	add := func(h string) { out = append(out, net.JoinHostPort(h, fmt.Sprint(port))) }
	if addrs, err := net.InterfaceAddrs(); err == nil {
		for _, a := range addrs {
			if ip, ok := a.(*net.IPNet); ok && !ip.IP.IsLoopback() && !ip.IP.IsLinkLocalUnicast() {
				add(ip.IP.String())
			}
		}
	}
	if h, err := os.Hostname(); err == nil && h != "" {
		add(strings.ToLower(h))
		add(strings.ToLower(h) + ".local")
	}
	return out
}

// addresses are those that other screens ask: over https only what the authority can
// sign for.
func addresses(opt web.Options) []string {
	var out []string
	for _, h := range opt.Hosts {
		switch {
		case opt.Authority == nil:
			out = append(out, "http://"+h+"/")
		case opt.Authority.Covers(h):
			out = append(out, "https://"+h+"/")
		}
	}
	return out
}

// tellTrust says how a phone comes to trust this computer.
func (c *call) tellTrust(opt web.Options, made bool) {
	if made {
		c.text("", "", "A certificate authority was made for this computer; it is kept in "+authorityDir(c.Getenv)+", its key for you alone. Phones must be told once to trust it.")
	}
	at := addresses(opt)
	if len(at) == 0 {
		c.say("None of the addresses is of a local network, so the authority cannot sign for one.")
		return
	}
	c.printf("To have a phone trust it, open on the phone\n  %strust\nand do what it says:\n", strings.Replace(at[0], "https:", "http:", 1))
	for i, s := range web.TrustSteps(at[0], opt.Authority.Fingerprint()) {
		c.text(fmt.Sprintf("%3d  ", i+1), "     ", s)
	}
	c.printf("Fingerprint (SHA-256):\n  %s\n  %s\n", opt.Authority.Fingerprint()[:48], opt.Authority.Fingerprint()[48:])
}

// authorityDir is the user's folder for it: of no logbook, so it goes out with none.
func authorityDir(getenv func(string) string) string {
	base := getenv("XDG_CONFIG_HOME")
	switch {
	case runtime.GOOS == "windows":
		base = getenv("LOCALAPPDATA")
	case runtime.GOOS == "darwin" && getenv("HOME") != "":
		base = filepath.Join(getenv("HOME"), "Library", "Application Support")
	case base == "" && getenv("HOME") != "":
		base = filepath.Join(getenv("HOME"), ".config")
	}
	return filepath.Join(base, "evenstand", "authority")
}

// browse opens the browser where there is a screen.
func (c *call) browse(address string) {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		cmd = exec.Command("rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		cmd = exec.Command("open", address)
	default:
		if c.Getenv("DISPLAY") == "" && c.Getenv("WAYLAND_DISPLAY") == "" {
			return
		}
		cmd = exec.Command("xdg-open", address)
	}
	if err := cmd.Start(); err == nil {
		go func() { _ = cmd.Wait() }()
	}
}
