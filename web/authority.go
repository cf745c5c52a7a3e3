package web

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"time"
)

// An Authority signs for this computer's own names, so that a phone on the cab's
// network that was told once to trust it may keep the page. It is made once; its key
// stays in a folder of the user's, for the user alone. It can sign for private
// addresses and names of a local network only: who got hold of the key could not
// pose as anything else (RFC 5280, 4.2.1.10).
type Authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

const (
	authorityLives = 10 * 365 * 24 * time.Hour
	authorityEnds  = 60 * 24 * time.Hour // before its end a new one is made: no season ends with it
	leafLives      = 90 * 24 * time.Hour // made anew with each start, and while it runs when a third is left
	clockOff       = 24 * time.Hour      // that a phone's clock may be behind (judgement)
)

// homeNets are the addresses that no other network has (RFC 1918, 6598, 3927, 4193,
// 4291).
var homeNets = nets("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128")

func nets(of ...string) []*net.IPNet {
	out := make([]*net.IPNet, len(of))
	for i, s := range of {
		_, n, err := net.ParseCIDR(s)
		if err != nil {
			panic(err) // a slip in the list above
		}
		out[i] = n
	}
	return out
}

const (
	authorityCert = "authority.crt"
	authorityKey  = "authority.key"
)

// OpenAuthority opens the authority kept in a folder and makes one where there is
// none or its end is near; made tells that. Phones must be told to trust a new one.
func OpenAuthority(dir string, now time.Time) (a *Authority, made bool, err error) {
	a, err = readAuthority(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, false, fmt.Errorf("the certificate authority in %s: %w. Remove that folder to have a new one made; phones must then trust that one", dir, err)
	case now.Add(authorityEnds).Before(a.cert.NotAfter) && !now.Before(a.cert.NotBefore):
		return a, false, nil
	}
	name, _ := os.Hostname()
	if a, err = makeAuthority(name, now); err != nil {
		return nil, false, err
	}
	return a, true, a.keep(dir)
}

func makeAuthority(host string, now time.Time) (*Authority, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	names := []string{"local", "localhost"}
	of := "this computer"
	if host = strings.ToLower(host); goodName(host) {
		names, of = append(names, host), host
	}
	t := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "Evenstand on " + of},
		NotBefore: now.Add(-clockOff).UTC(), NotAfter: now.Add(authorityLives).UTC(),
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, BasicConstraintsValid: true, IsCA: true, MaxPathLenZero: true,
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: names, PermittedIPRanges: homeNets,
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	cert, err := x509.ParseCertificate(der)
	return &Authority{cert, key}, err
}

var nameLabel = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*$`)

func goodName(h string) bool { return len(h) <= 200 && nameLabel.MatchString(h) }

func serial() *big.Int {
	n, _ := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120)) // never fails
	return n.Add(n, big.NewInt(1))
}

func readAuthority(dir string) (*Authority, error) {
	path := filepath.Join(dir, authorityKey)
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("others on this computer may read its key %s", authorityKey)
	}
	key, err := block(path, "PRIVATE KEY")
	if err != nil {
		return nil, err
	}
	cert, err := block(filepath.Join(dir, authorityCert), "CERTIFICATE")
	if err != nil {
		return nil, err
	}
	k, err := x509.ParsePKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	c, err := x509.ParseCertificate(cert)
	if err != nil {
		return nil, err
	}
	ec, ok := k.(*ecdsa.PrivateKey)
	if !ok || !ec.PublicKey.Equal(c.PublicKey) || !c.IsCA {
		return nil, errors.New("key and certificate do not belong together")
	}
	return &Authority{c, ec}, nil
}

func block(path, kind string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	b, _ := pem.Decode(data)
	if b == nil || b.Type != kind {
		return nil, fmt.Errorf("%s is not whole", filepath.Base(path))
	}
	return b.Bytes, nil
}

// keep writes the authority: the key first, so that there is never a certificate
// whose key is lost.
func (a *Authority) keep(dir string) error {
	key, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if err := os.Remove(filepath.Join(dir, authorityCert)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, f := range []struct {
		name, kind string
		data       []byte
	}{{authorityKey, "PRIVATE KEY", key}, {authorityCert, "CERTIFICATE", a.cert.Raw}} {
		tmp, err := os.CreateTemp(dir, ".new-*") // for the user alone
		if err != nil {
			return err
		}
		err = errors.Join(pem.Encode(tmp, &pem.Block{Type: f.kind, Bytes: f.data}), tmp.Sync(), tmp.Close())
		if err == nil {
			err = os.Rename(tmp.Name(), filepath.Join(dir, f.name))
		}
		if err != nil {
			_ = os.Remove(tmp.Name())
			return err
		}
	}
	return nil
}

// Certificate gives what a phone is told to trust (DER).
func (a *Authority) Certificate() []byte { return a.cert.Raw }

// Fingerprint is by what people tell it from another: SHA-256 of the certificate.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.cert.Raw)
	var b bytes.Buffer
	for i, x := range sum {
		if i > 0 {
			b.WriteByte(':')
		}
		fmt.Fprintf(&b, "%02X", x)
	}
	return b.String()
}

// Covers tells whether it can sign for a name or address, with or without a port.
func (a *Authority) Covers(host string) bool {
	ip, name := bareHost(host)
	if ip != nil {
		for _, n := range a.cert.PermittedIPRanges {
			if n.Contains(ip) {
				return true
			}
		}
		return false
	}
	for _, d := range a.cert.PermittedDNSDomains {
		if goodName(name) && (name == d || strings.HasSuffix(name, "."+d)) {
			return true
		}
	}
	return false
}

func bareHost(host string) (net.IP, string) {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	return net.ParseIP(host), host
}

// leaf signs for those of the names that it may.
func (a *Authority) leaf(hosts []string, now time.Time) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	from, until := now.Add(-clockOff), now.Add(leafLives)
	if from.Before(a.cert.NotBefore) {
		from = a.cert.NotBefore
	}
	if until.After(a.cert.NotAfter) {
		until = a.cert.NotAfter
	}
	t := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "Evenstand"}, NotBefore: from.UTC(), NotAfter: until.UTC(),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback},
	}
	for _, h := range hosts {
		if !a.Covers(h) {
			continue
		}
		if ip, name := bareHost(h); ip != nil {
			t.IPAddresses = append(t.IPAddresses, ip)
		} else {
			t.DNSNames = append(t.DNSNames, name)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, t, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return nil, err
	}
	cert, err := x509.ParseCertificate(der)
	return &tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: cert}, err
}

// config serves under the names. The certificate of the server is never on a disk.
func (a *Authority) config(hosts []string, clock func() time.Time) *tls.Config {
	var mu sync.Mutex
	var have *tls.Certificate
	return &tls.Config{
		MinVersion: tls.VersionTLS12,
		NextProtos: []string{"http/1.1"}, // streams of events and slow bodies have their times by connection
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			mu.Lock()
			defer mu.Unlock()
			now := clock()
			if have == nil || now.Add(leafLives/3).After(have.Leaf.NotAfter) || now.Before(have.Leaf.NotBefore) {
				c, err := a.leaf(hosts, now)
				if err != nil {
					return nil, err
				}
				have = c
			}
			return have, nil
		},
	}
}
