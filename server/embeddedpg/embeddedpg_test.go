package embeddedpg

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

func dataDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "millbase-embedded-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(dir, "data")
	t.Cleanup(func() {
		if err := Remove(context.Background(), data); err != nil {
			t.Error(err)
		}
		os.RemoveAll(dir)
	})
	return data
}

func start(t *testing.T, data string) *Server {
	t.Helper()
	s, err := Start(t.Context(), Config{DataDir: data})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func query(t *testing.T, s *Server, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var v string
	if err := conn.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func execute(t *testing.T, s *Server, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

func postmasterPID(t *testing.T, s *Server) int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(s.dirs.cluster, "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.SplitN(string(text), "\n", 2)[0])
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

func TestLifeOfACluster(t *testing.T) {
	data := dataDir(t)
	s := start(t, data)
	execute(t, s, "CREATE TABLE kept AS SELECT 1 AS n")

	if _, err := Start(t.Context(), Config{DataDir: data}); err == nil || !strings.Contains(err.Error(), "another server is at work") {
		t.Errorf("second server on the same folder: %v", err)
	}

	t.Run("the next start adopts a running postmaster", func(t *testing.T) {
		pid := postmasterPID(t, s)
		s.Abandon()
		s = start(t, data)
		if !s.Adopted() || postmasterPID(t, s) != pid {
			t.Errorf("adopted %v, pid %d, was %d", s.Adopted(), postmasterPID(t, s), pid)
		}
		if got := query(t, s, "SELECT n::text FROM kept"); got != "1" {
			t.Errorf("kept = %q", got)
		}
	})
	t.Run("the next start recovers a killed cluster", func(t *testing.T) {
		if err := syscall.Kill(postmasterPID(t, s), syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		s.Abandon()
		time.Sleep(100 * time.Millisecond)
		s = start(t, data)
		if s.Adopted() {
			t.Error("adopted a dead postmaster")
		}
		if got := query(t, s, "SELECT n::text FROM kept"); got != "1" {
			t.Errorf("kept = %q", got)
		}
	})
	t.Run("a pid file whose number is someone else's is cleared away", func(t *testing.T) {
		if err := s.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		stale := strconv.Itoa(os.Getppid()) + "\n" + s.dirs.cluster + "\n1\n5432\n/nowhere\n\n"
		if err := os.WriteFile(filepath.Join(s.dirs.cluster, "postmaster.pid"), []byte(stale), 0o600); err != nil {
			t.Fatal(err)
		}
		s = start(t, data)
		query(t, s, "SELECT 'up'")
	})
	if got := query(t, s, "SHOW listen_addresses"); got != "" {
		t.Errorf("listens on %q", got)
	}
	if err := s.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := pgx.Connect(t.Context(), s.URL()); err == nil {
		t.Error("still answers after Stop")
	}
}

func TestLongDataPathGetsAShortSocket(t *testing.T) {
	data := filepath.Join(dataDir(t), strings.Repeat("long-", 30))
	s := start(t, data)
	if len(s.socket)+len("/.s.PGSQL.5432.lock") > maxSocketPath {
		t.Errorf("socket folder %q is too long", s.socket)
	}
	query(t, s, "SELECT 'up'")
	if err := s.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(s.socket); err != nil {
		t.Fatal(err)
	}
}

func TestClearErrors(t *testing.T) {
	if _, err := Start(t.Context(), Config{}); err == nil || !strings.Contains(err.Error(), "no data folder") {
		t.Errorf("no folder: %v", err)
	}
	data := dataDir(t)
	_, err := Start(t.Context(), Config{DataDir: data, BinDir: t.TempDir()})
	if err == nil || !strings.Contains(err.Error(), "there is no initdb in") {
		t.Errorf("wrong programs: %v", err)
	}
	a := &account{name: "someone", uid: 64000, gid: 64000, other: true}
	closed := filepath.Join(t.TempDir(), "closed")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := a.mayEnter(closed); err == nil || !strings.Contains(err.Error(), "chmod o+x") {
		t.Errorf("closed folder: %v", err)
	}
}
