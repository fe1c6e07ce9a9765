package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"

	pb "millbase/proto/millbase/v1"
	"millbase/server/postgres/pgtest"
	"millbase/solver"
)

func TestMain(m *testing.M) {
	if len(os.Args) == 2 && os.Args[1] == workerArgument {
		os.Exit(serveSolver())
	}
	pgtest.Main(m)
}

// output is a log that is read while it is written.
type output struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}

// started runs the server and returns its addresses, what it prints, and a way
// to stop it.
func started(t *testing.T, args ...string) (grpcAddr, restAddr string, out *output, stop func() error) {
	t.Helper()
	args = append([]string{"--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0", "--log-level", "debug"}, args...)
	cfg, _, err := parse(args, environment(nil), &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	out = &output{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- run(ctx, cfg, out) }()
	stop = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() { _ = stop() })
	serving := regexp.MustCompile(`msg=serving grpc=(\S+) rest=(\S+)`)
	for range 600 {
		if found := serving.FindStringSubmatch(out.String()); found != nil {
			return found[1], found[2], out, stop
		}
		select {
		case err := <-done:
			t.Fatalf("stopped before it served: %v\n%s", err, out)
		case <-time.After(50 * time.Millisecond):
		}
	}
	t.Fatalf("did not serve within 30 s:\n%s", out)
	return "", "", nil, nil
}

func status(t *testing.T, client *http.Client, url, key string) int {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+key)
	resp, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

// The private Postgres, the first key, a stop and a second start on what the
// first left.
func TestEmbeddedFromNothing(t *testing.T) {
	data, err := os.MkdirTemp("", "millbased") // not t.TempDir: Postgres' account must get in
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(data, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(data) })
	_, rest, out, stop := started(t, "--data", data)
	key, err := os.ReadFile(filepath.Join(data, "admin.key"))
	if err != nil {
		t.Fatal(err)
	}
	secret := strings.TrimSpace(string(key))
	if info, err := os.Stat(filepath.Join(data, "admin.key")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's file: %v %v", info.Mode(), err)
	}
	if strings.Contains(out.String(), secret) {
		t.Error("the key is in the log")
	}
	if code := status(t, http.DefaultClient, "http://"+rest+"/v1/whoami", secret); code != http.StatusOK {
		t.Errorf("with the key: %d", code)
	}
	if code := status(t, http.DefaultClient, "http://"+rest+"/v1/whoami", "mb_other"); code != http.StatusUnauthorized {
		t.Errorf("with another key: %d", code)
	}
	if err := stop(); err != nil {
		t.Fatalf("stopping: %v\n%s", err, out)
	}
	_, rest, out, stop = started(t, "--data", data)
	if code := status(t, http.DefaultClient, "http://"+rest+"/v1/whoami", secret); code != http.StatusOK {
		t.Errorf("with the key after a restart: %d", code)
	}
	if strings.Contains(out.String(), "first API key") {
		t.Error("a second first key was made")
	}
	if err := stop(); err != nil {
		t.Fatalf("stopping again: %v\n%s", err, out)
	}
}

// Without a data folder the key is printed once and never logged.
func TestKeyWithoutADataFolder(t *testing.T) {
	url := pgtest.Empty(t)
	_, rest, out, stop := started(t, "--database-url", url)
	shown := regexp.MustCompile(`shown this once: (\S+)`).FindStringSubmatch(out.String())
	if shown == nil || strings.Count(out.String(), shown[1]) != 1 {
		t.Fatalf("the key is not shown once:\n%s", out)
	}
	if code := status(t, http.DefaultClient, "http://"+rest+"/v1/whoami", shown[1]); code != http.StatusOK {
		t.Errorf("with the key: %d", code)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	cfg, _, err := parse([]string{"--database-url", url, "--check-ledger"}, environment(nil), &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	var report bytes.Buffer
	if err := run(t.Context(), cfg, &report); err != nil || !strings.Contains(report.String(), "agree with the ledger") {
		t.Errorf("checking the ledger: %v\n%s", err, &report)
	}
}

func TestEncrypted(t *testing.T) {
	cert, key, pool := certificate(t)
	addr, rest, out, _ := started(t, "--database-url", pgtest.Empty(t), "--tls-cert", cert, "--tls-key", key)
	secret := regexp.MustCompile(`shown this once: (\S+)`).FindStringSubmatch(out.String())[1]
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	if code := status(t, client, "https://"+rest+"/v1/whoami", secret); code != http.StatusOK {
		t.Errorf("REST over TLS: %d", code)
	}
	conn, err := grpc.NewClient(addr, grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: pool})))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+secret)
	if who, err := pb.NewPlantServiceClient(conn).WhoAmI(ctx, &pb.WhoAmIRequest{}); err != nil || who.GetRole() != pb.Role_ROLE_ADMIN {
		t.Errorf("gRPC over TLS: %v %v", who, err)
	}
}

// certificate makes one for 127.0.0.1 that signs itself.
func certificate(t *testing.T) (certFile, keyFile string, pool *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert})
	if err := errors.Join(os.WriteFile(certFile, certPEM, 0o600), os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600)); err != nil {
		t.Fatal(err)
	}
	pool = x509.NewCertPool()
	pool.AppendCertsFromPEM(certPEM)
	return certFile, keyFile, pool
}

func TestStartsThatFail(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for want, args := range map[string][]string{
		"name another one":         {"--database-url", pgtest.Empty(t), "--grpc", taken.Addr().String()},
		"check --tls-cert":         {"--database-url", pgtest.Empty(t), "--tls-cert", "none.pem", "--tls-key", "none.pem"},
		"bringing the database up": {"--database-url", "postgres://nobody@127.0.0.1:1/none?connect_timeout=1"},
	} {
		cfg, _, err := parse(append([]string{"--http", "127.0.0.1:0"}, args...), environment(nil), &bytes.Buffer{})
		if err != nil {
			t.Fatal(err)
		}
		if err := run(t.Context(), cfg, &output{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want %q in it", args, err, want)
		}
	}
}

// slow counts how many solves run at once.
type slow struct {
	solver.Engine
	mu             sync.Mutex
	running, worst int
}

func (s *slow) Solve(ctx context.Context, _ *solver.Model, _ solver.Options) (*solver.Solution, error) {
	s.mu.Lock()
	s.running++
	s.worst = max(s.worst, s.running)
	s.mu.Unlock()
	time.Sleep(time.Millisecond)
	s.mu.Lock()
	s.running--
	s.mu.Unlock()
	return &solver.Solution{}, nil
}

func TestSolvesWaitTheirTurn(t *testing.T) {
	engine := &slow{}
	b := newBounded(engine, 2)
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			if _, err := b.Solve(t.Context(), nil, solver.Options{}); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if engine.worst > 2 || engine.worst == 0 {
		t.Errorf("%d solves at once, want 2 at most", engine.worst)
	}
	b.places <- struct{}{}
	b.places <- struct{}{}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := b.Solve(ctx, nil, solver.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a solve that was cancelled while it waited: %v", err)
	}
}
