package web_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"evenstand/web"
)

// An authority is made once, for its owner alone, stays as it is, and is made anew
// when its end is near; one that others may read is not used.
func TestAuthorityIsKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "authority")
	now := time.Now()
	a, made, err := web.OpenAuthority(dir, now)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	again, made, err := web.OpenAuthority(dir, now.Add(365*24*time.Hour))
	if err != nil || made || again.Fingerprint() != a.Fingerprint() {
		t.Errorf("a year later: made %v, %v", made, err)
	}
	key := filepath.Join(dir, "authority.key")
	if info, err := os.Stat(key); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if later, made, err := web.OpenAuthority(dir, now.Add(3640*24*time.Hour)); err != nil || !made || later.Fingerprint() == a.Fingerprint() {
		t.Errorf("near its end: made %v, %v", made, err)
	}
	if runtime.GOOS != "windows" {
		if err := os.Chmod(key, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, _, err := web.OpenAuthority(dir, now); err == nil || !strings.Contains(err.Error(), "Remove that folder") {
			t.Errorf("a key that others may read: %v", err)
		}
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(key, []byte("no key"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := web.OpenAuthority(dir, now); err == nil || !strings.Contains(err.Error(), "not whole") {
		t.Errorf("a spoilt key: %v", err)
	}
}

// It signs for names and addresses of a local network, and cannot pose as others.
func TestAuthorityIsOfHome(t *testing.T) {
	a, _, err := web.OpenAuthority(t.TempDir(), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	for host, want := range map[string]bool{"192.168.1.20:7423": true, "10.0.0.4": true, "cab.local:7423": true, "8.8.8.8": false, "example.org": false, "localexample.org": false} {
		if got := a.Covers(host); got != want {
			t.Errorf("%s: %v", host, got)
		}
	}
	cert, err := x509.ParseCertificate(a.Certificate())
	if err != nil || !cert.IsCA || !cert.MaxPathLenZero || !cert.PermittedDNSDomainsCritical || len(cert.PermittedIPRanges) == 0 || cert.KeyUsage&x509.KeyUsageDigitalSignature != 0 {
		t.Errorf("%+v, %v", cert.Subject, err)
	}
}

// One port speaks http with this computer and https with those that trust it; what is
// asked for in plain from elsewhere is only how to trust it.
func TestServedOverHTTPS(t *testing.T) {
	a, _, err := web.OpenAuthority(t.TempDir(), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	s := serve(t, plantedBook(t), func(o *web.Options) { o.Hosts, o.Code, o.Authority = []string{at}, "12345678", a })
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	defer func() { stop(); <-done }()
	roots := x509.NewCertPool()
	cert, err := x509.ParseCertificate(a.Certificate())
	if err != nil {
		t.Fatal(err)
	}
	roots.AddCert(cert)
	get := func(url string, roots *x509.CertPool) (int, string, error) {
		tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}
		defer tr.CloseIdleConnections()
		r, err := (&http.Client{Transport: tr, Timeout: 20 * time.Second}).Get(url)
		if err != nil {
			return 0, "", err
		}
		defer r.Body.Close()
		body, err := io.ReadAll(r.Body)
		return r.StatusCode, string(body), err
	}
	if _, _, err := get("https://"+at+"/", roots); err != nil {
		t.Errorf("who trusts it: %v", err)
	}
	if _, _, err := get("https://"+at+"/", x509.NewCertPool()); err == nil {
		t.Error("who does not trust it is served")
	}
	if status, body, err := get("http://"+at+"/trust", nil); err != nil || status != http.StatusOK || !strings.Contains(body, "Trust this computer, once") {
		t.Errorf("how to trust it: %d, %v, %.200s", status, err, body)
	}
}
