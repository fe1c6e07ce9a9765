package embeddedpg

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
)

// Names within the cluster.
const (
	roleName     = "millbase"
	databaseName = "millbase"
	port         = "5432" // part of the socket's file name only
)

// Config says where the cluster is and how it runs.
type Config struct {
	// DataDir is the data folder; it is made when it does not exist.
	DataDir string
	// BinDir holds initdb, pg_ctl and postgres. When empty they are looked for:
	// the version that made the cluster, then PATH, then the newest in
	// /usr/lib/postgresql.
	BinDir string
	// Unsafe switches fsync off: a power cut may lose the cluster. Tests only.
	Unsafe bool
	// MaxConnections of the cluster; 0 is 100.
	MaxConnections int
	// Settings are further lines of postgresql.conf, by name.
	Settings map[string]string
	// Logger may be nil.
	Logger *slog.Logger
}

// Server is a running cluster.
type Server struct {
	cfg     Config
	bin     string
	dirs    layout
	account *account
	lock    *os.File
	socket  string // folder of the socket
	adopted bool
}

// Start starts the cluster, or adopts one left running by a process that died,
// and returns when it answers. The error says what to change: no Postgres
// installed, a folder that the account can't enter, another server at work on
// the same data folder.
func Start(ctx context.Context, cfg Config) (*Server, error) {
	s, err := prepare(cfg)
	if err != nil {
		return nil, err
	}
	if err := s.start(ctx); err != nil {
		s.unlock()
		return nil, err
	}
	return s, nil
}

// prepare takes the lock and finds programs, account and folders.
func prepare(cfg Config) (*Server, error) {
	if cfg.DataDir == "" {
		return nil, errors.New("no data folder given for the embedded Postgres: name one")
	}
	if cfg.Logger == nil {
		cfg.Logger = slog.New(slog.DiscardHandler)
	}
	dirs, err := newLayout(cfg.DataDir)
	if err != nil {
		return nil, err
	}
	s := &Server{cfg: cfg, dirs: dirs}
	if err := makeDataDir(dirs.root); err != nil {
		return nil, err
	}
	if s.lock, err = lockFile(filepath.Join(dirs.root, "postgres.lock"), dirs.root); err != nil {
		return nil, err
	}
	if s.account, err = chooseAccount(); err == nil {
		if s.bin, err = findPrograms(cfg.BinDir, dirs.cluster); err == nil {
			err = s.makeFolders()
		}
	}
	if err != nil {
		s.unlock()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(ctx context.Context) error {
	if err := s.initialise(ctx); err != nil {
		return err
	}
	if socket, running := s.running(); running {
		s.socket, s.adopted = socket, true
		s.cfg.Logger.Info("adopting the Postgres that was left running", "folder", s.dirs.root)
	} else if err := s.launch(ctx); err != nil {
		return err
	}
	if err := s.awaitAnswer(ctx); err != nil {
		return err
	}
	return s.createDatabase(ctx)
}

// URL is the connection URL of the database "millbase" in the cluster.
func (s *Server) URL() string { return s.DatabaseURL(databaseName) }

// DatabaseURL is the connection URL of another database in the cluster.
func (s *Server) DatabaseURL(name string) string {
	q := url.Values{"host": {s.socket}, "port": {port}, "user": {roleName}}
	return "postgres:///" + url.PathEscape(name) + "?" + q.Encode()
}

// BinDir is the folder of the Postgres programs in use.
func (s *Server) BinDir() string { return s.bin }

// Adopted reports whether the cluster was found running at Start.
func (s *Server) Adopted() bool { return s.adopted }

// Stop shuts the cluster down fast and gives the data folder free.
func (s *Server) Stop(ctx context.Context) error {
	defer s.unlock()
	return s.stop(ctx, "fast")
}

// Abandon gives the data folder free and leaves the cluster running, as a
// killed process would; the next Start adopts it.
func (s *Server) Abandon() { s.unlock() }

// Remove stops whatever cluster runs under the data folder and deletes the
// folder. It refuses a folder that a living process holds.
func Remove(ctx context.Context, dataDir string) error {
	s, err := prepare(Config{DataDir: dataDir})
	if err != nil {
		return err
	}
	defer s.unlock()
	if _, running := s.running(); running {
		if err := s.stop(ctx, "immediate"); err != nil {
			return err
		}
	}
	if s.socket == "" {
		s.socket = s.dirs.socketDir()
	}
	return errors.Join(os.RemoveAll(s.socket), os.RemoveAll(s.dirs.root))
}

func (s *Server) unlock() {
	if s.lock != nil {
		s.lock.Close() // closing the file drops the flock
		s.lock = nil
	}
}

// awaitAnswer returns when the cluster accepts a connection. An adopted one may
// still be replaying its log.
func (s *Server) awaitAnswer(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, s.DatabaseURL("postgres"))
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the embedded Postgres does not answer: %w (see %s)", err, s.dirs.logs)
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (s *Server) createDatabase(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, s.DatabaseURL("postgres"))
	if err != nil {
		return fmt.Errorf("connecting to the embedded Postgres: %w", err)
	}
	defer conn.Close(ctx)
	var found bool
	err = conn.QueryRow(ctx, "SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)", databaseName).Scan(&found)
	if err == nil && !found {
		_, err = conn.Exec(ctx, "CREATE DATABASE "+databaseName)
	}
	if err != nil {
		return fmt.Errorf("creating the database in the embedded Postgres: %w", err)
	}
	return nil
}
