package crashtest

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"

	"millbase/server/embeddedpg"
)

// server is a millbased process that can be killed and started again on the same
// data folder.
type server struct {
	t          *testing.T
	program    string
	data       string
	args       []string // beside the addresses
	grpc, http string
	process    *exec.Cmd
}

// newServer builds millbased and starts it on a folder of its own.
func newServer(t *testing.T) *server {
	t.Helper()
	dir, program := build(t)
	s := &server{t: t, program: program, data: filepath.Join(dir, "data"), grpc: freeAddress(t), http: freeAddress(t)}
	s.args = []string{"--data", s.data}
	t.Cleanup(func() {
		s.stop()
		// The server that was killed last may have left its Postgres running.
		for _, folder := range []string{s.data, filepath.Join(s.data, "postgres")} {
			_ = embeddedpg.Remove(context.Background(), folder)
		}
	})
	s.start()
	return s
}

// build builds millbased in a folder that goes when the test ends.
func build(t *testing.T) (dir, program string) {
	t.Helper()
	dir, err := os.MkdirTemp("", "millbase-crash-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil { // Postgres may run as another account
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	program = filepath.Join(dir, "millbased")
	if out, err := exec.Command("go", "build", "-buildvcs=false", "-o", program, "millbase/server/cmd/millbased").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return dir, program
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// start runs the server and returns when it is ready.
func (s *server) start() {
	s.t.Helper()
	log, err := os.OpenFile(s.data+".log", os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		s.t.Fatal(err)
	}
	defer log.Close()
	s.process = exec.Command(s.program, append(s.args, "--grpc", s.grpc, "--http", s.http, "--log-level", "warn")...)
	s.process.Stdout, s.process.Stderr = log, log
	if err := s.process.Start(); err != nil {
		s.t.Fatal(err)
	}
	deadline := time.Now().Add(time.Minute)
	for time.Now().Before(deadline) {
		answer, err := http.Get("http://" + s.http + "/readyz")
		if err == nil {
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	text, _ := os.ReadFile(log.Name())
	s.t.Fatalf("the server did not get ready; its log:\n%s", text)
}

// kill ends the process as a power cut would, from the process's point of view.
func (s *server) kill() {
	s.t.Helper()
	if err := s.process.Process.Kill(); err != nil {
		s.t.Fatal(err)
	}
	_ = s.process.Wait()
}

// killPostgres ends the database's processes as well: the next start recovers it
// from its log.
func (s *server) killPostgres() {
	s.t.Helper()
	var pid int
	err := filepath.WalkDir(s.data, func(path string, _ os.DirEntry, err error) error {
		if err == nil && filepath.Base(path) == "postmaster.pid" {
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if _, err := fmt.Sscan(string(text), &pid); err != nil {
				return err
			}
			return filepath.SkipAll
		}
		return nil
	})
	if err != nil || pid == 0 {
		s.t.Fatalf("no running Postgres under the data folder: %v", err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		s.t.Fatal(err)
	}
}

// stop ends the server in good order.
func (s *server) stop() {
	if s.process == nil || s.process.ProcessState != nil {
		return
	}
	_ = s.process.Process.Signal(syscall.SIGTERM)
	_ = s.process.Wait()
}

type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}
func (bearer) RequireTransportSecurity() bool { return false }

// dial connects with the admin's key; it comes back fast after a restart.
func (s *server) dial() *grpc.ClientConn {
	s.t.Helper()
	key, err := os.ReadFile(filepath.Join(s.data, "admin.key"))
	if err != nil {
		s.t.Fatal(err)
	}
	conn, err := grpc.NewClient(s.grpc,
		grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithPerRPCCredentials(bearer(strings.TrimSpace(string(key)))),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.Config{BaseDelay: 20 * time.Millisecond, Multiplier: 1.2, MaxDelay: 200 * time.Millisecond}, MinConnectTimeout: time.Second}))
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { conn.Close() })
	return conn
}
