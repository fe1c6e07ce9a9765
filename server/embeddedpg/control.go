package embeddedpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// run runs one of Postgres's programs as the cluster's account.
func (s *Server) run(ctx context.Context, name string, args ...string) error {
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, name), args...)
	cmd.Dir = s.dirs.base
	cmd.Env = []string{"PATH=" + s.bin + ":/usr/bin:/bin", "LC_ALL=C", "HOME=" + s.dirs.base, "TZ=UTC"}
	// A terminal's Ctrl-C must reach this process only: it stops Postgres last.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if s.account.other {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(s.account.uid), Gid: uint32(s.account.gid)}
	}
	out, err := os.CreateTemp("", "millbase-"+name)
	if err != nil {
		return err
	}
	defer os.Remove(out.Name())
	defer out.Close()
	// A file, not a pipe: the postmaster outlives pg_ctl and would hold a pipe open.
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Run(); err != nil {
		said, _ := os.ReadFile(out.Name()) // an empty explanation is all that is lost
		return fmt.Errorf("%s: %w: %s", name, err, bytes.TrimSpace(said))
	}
	return nil
}

// initialise makes the cluster under another name first, so that a crash halfway
// leaves nothing that looks like a cluster.
func (s *Server) initialise(ctx context.Context) error {
	if _, err := os.Stat(filepath.Join(s.dirs.cluster, "PG_VERSION")); err == nil {
		return s.configure(s.dirs.cluster)
	}
	if err := os.RemoveAll(s.dirs.fresh); err != nil {
		return err
	}
	s.cfg.Logger.Info("making the embedded Postgres cluster", "folder", s.dirs.cluster, "programs", s.bin)
	args := []string{"-D", s.dirs.fresh, "-U", roleName, "--auth=peer", "--encoding=UTF8", "--locale=C"}
	if s.cfg.Unsafe {
		args = append(args, "--no-sync")
	}
	if err := s.run(ctx, "initdb", args...); err != nil {
		return fmt.Errorf("making the embedded Postgres cluster: %w", err)
	}
	if err := s.configure(s.dirs.fresh); err != nil {
		return err
	}
	return os.Rename(s.dirs.fresh, s.dirs.cluster)
}

// configure writes the settings and the access rules anew at every start.
func (s *Server) configure(cluster string) error {
	files := map[string]string{
		"pg_hba.conf":     "local all all peer map=owner\n",
		"pg_ident.conf":   s.identities(),
		"millbase.conf":   s.settings(),
		"postgresql.conf": "include 'millbase.conf'\n",
	}
	for name, text := range files {
		path := filepath.Join(cluster, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			return err
		}
		if err := s.account.own(path); err != nil {
			return err
		}
	}
	return nil
}

// identities maps the accounts that may connect to the one database role.
func (s *Server) identities() string {
	text := fmt.Sprintf("owner %q %s\n", s.account.name, roleName)
	if s.account.other {
		if me, err := user.Current(); err == nil {
			text += fmt.Sprintf("owner %q %s\n", me.Username, roleName)
		}
	}
	return text
}

// settings fit a small plant server that shares its machine with the solver.
func (s *Server) settings() string {
	connections := s.cfg.MaxConnections
	if connections == 0 {
		connections = 100
	}
	lines := []string{
		"listen_addresses = ''",
		"port = " + port,
		"unix_socket_directories = " + quote(s.dirs.socketDir()),
		"unix_socket_permissions = 0700",
		"max_connections = " + strconv.Itoa(connections),
		"shared_buffers = '256MB'",
		"effective_cache_size = '1GB'",
		"maintenance_work_mem = '64MB'",
		"max_wal_size = '2GB'",
		"wal_compression = on",
		"random_page_cost = 1.1",
		"jit = off", // compiling costs more than these short statements
		"timezone = 'UTC'",
		"log_timezone = 'UTC'",
		"logging_collector = on",
		"log_directory = " + quote(s.dirs.logs),
		"log_filename = 'postgres-%a.log'",
		"log_truncate_on_rotation = on",
		"log_rotation_age = '1d'",
		"log_rotation_size = 0",
		"log_checkpoints = off",
		"log_error_verbosity = default",
		// Refused movements are answers to callers, not events of the server.
		"log_min_error_statement = fatal",
		"log_min_messages = log",
		"idle_in_transaction_session_timeout = '10min'",
	}
	if s.cfg.Unsafe {
		lines = append(lines, "fsync = off", "full_page_writes = off", "synchronous_commit = off")
	}
	for name, value := range s.cfg.Settings {
		lines = append(lines, name+" = "+quote(value))
	}
	return strings.Join(lines, "\n") + "\n"
}

func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// launch starts the postmaster. Backends of a postmaster that was killed need a
// moment to notice; until then their shared memory is in use.
func (s *Server) launch(ctx context.Context) error {
	s.socket = s.dirs.socketDir()
	var err error
	for attempt := 0; attempt < 5; attempt++ {
		err = s.run(ctx, "pg_ctl", "start", "-D", s.dirs.cluster, "-l", s.dirs.startLog, "-w", "-t", "120")
		if err == nil || !s.sharedMemoryInUse() {
			break
		}
		time.Sleep(time.Second)
	}
	if err == nil {
		return nil
	}
	return fmt.Errorf("starting the embedded Postgres: %w: %s (see %s)", err, s.lastWords(), s.dirs.logs)
}

func (s *Server) sharedMemoryInUse() bool {
	return strings.Contains(s.lastWords(), "shared memory")
}

// lastWords are the last lines of what the postmaster said, from the day's log
// once its collector has started.
func (s *Server) lastWords() string {
	today := filepath.Join(s.dirs.logs, "postgres-"+time.Now().UTC().Format("Mon")+".log")
	return lastLines(s.dirs.startLog, 2) + "\n" + lastLines(today, 5)
}

func lastLines(path string, n int) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}

// running reports whether a postmaster of this cluster is alive, and the folder
// of its socket. The pid files of a dead one are cleared away: after a restart of
// the machine another process may have its number, and Postgres would refuse to
// start. The lock on the data folder makes this safe.
func (s *Server) running() (socket string, alive bool) {
	path := filepath.Join(s.dirs.cluster, "postmaster.pid")
	text, err := os.ReadFile(path)
	if err != nil {
		return "", false
	}
	lines := strings.Split(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(lines[0]))
	if err == nil && s.isPostmaster(pid) {
		if len(lines) > 4 && strings.TrimSpace(lines[4]) != "" {
			return strings.TrimSpace(lines[4]), true
		}
		return s.dirs.socketDir(), true // it has only just started
	}
	os.Remove(path)
	os.Remove(filepath.Join(s.dirs.socketDir(), ".s.PGSQL."+port+".lock"))
	return "", false
}

// isPostmaster reports whether the process is a Postgres that works in this
// cluster's folder.
func (s *Server) isPostmaster(pid int) bool {
	if err := syscall.Kill(pid, 0); err != nil && !errors.Is(err, syscall.EPERM) {
		return false
	}
	if _, err := os.Stat("/proc/self/cwd"); err != nil {
		return true // can't tell: let Postgres itself decide
	}
	// Unreadable for a process of someone else, and for one that is dead but
	// not yet waited for.
	cwd, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid))
	if err != nil {
		return false
	}
	real, err := filepath.EvalSymlinks(s.dirs.cluster)
	return err == nil && cwd == real
}

func (s *Server) stop(ctx context.Context, mode string) error {
	if _, running := s.running(); !running {
		return nil
	}
	if err := s.run(ctx, "pg_ctl", "stop", "-D", s.dirs.cluster, "-m", mode, "-w", "-t", "60"); err != nil {
		return fmt.Errorf("stopping the embedded Postgres: %w", err)
	}
	return nil
}
