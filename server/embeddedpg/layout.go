package embeddedpg

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// maxSocketPath is what fits into sockaddr_un on Linux, less the closing zero.
const maxSocketPath = 107

// layout is where things are; see the package comment.
type layout struct {
	root, base, cluster, fresh, logs, startLog string
}

func newLayout(dataDir string) (layout, error) {
	root, err := filepath.Abs(dataDir)
	if err != nil {
		return layout{}, err
	}
	base := filepath.Join(root, "postgres")
	return layout{
		root:     root,
		base:     base,
		cluster:  filepath.Join(base, "cluster"),
		fresh:    filepath.Join(base, "cluster.new"),
		logs:     filepath.Join(base, "log"),
		startLog: filepath.Join(base, "start.log"),
	}, nil
}

// socketDir is a folder under the data folder, or when that path is too long a
// folder under the system's temporary folder that is named after it.
func (l layout) socketDir() string {
	dir := filepath.Join(l.base, "run")
	if len(dir)+len("/.s.PGSQL."+port+".lock") <= maxSocketPath {
		return dir
	}
	sum := sha256.Sum256([]byte(l.root))
	return filepath.Join("/tmp", "millbase-pg-"+hex.EncodeToString(sum[:8]))
}

// makeDataDir makes the data folder so that the cluster's account can pass
// through it; an existing folder is left as it is.
func makeDataDir(root string) error {
	if _, err := os.Stat(root); err == nil {
		return nil
	}
	if err := os.MkdirAll(root, 0o755); err != nil {
		return fmt.Errorf("making the data folder: %w", err)
	}
	return os.Chmod(root, 0o755) // whatever the umask
}

// makeFolders makes what belongs to the cluster's account.
func (s *Server) makeFolders() error {
	if err := s.account.mayEnter(s.dirs.root); err != nil {
		return err
	}
	for _, dir := range []string{s.dirs.base, s.dirs.logs, s.dirs.socketDir()} {
		if err := s.makeOwned(dir); err != nil {
			return err
		}
	}
	return nil
}

// makeOwned makes a folder that only the account may enter. A folder that is
// there already must be the account's own: in a shared temporary folder someone
// else could have made it first.
func (s *Server) makeOwned(dir string) error {
	err := os.Mkdir(dir, 0o700)
	if err == nil {
		return s.account.own(dir)
	}
	if !errors.Is(err, os.ErrExist) {
		return fmt.Errorf("making a folder of the embedded Postgres: %w", err)
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !info.IsDir() || !ok || int(st.Uid) != s.account.uid {
		return fmt.Errorf("%s is not a folder of the account %q, which Postgres runs as: remove it, "+
			"give it to that account (chown -R %s %s), or choose another data folder", dir, s.account.name, s.account.name, dir)
	}
	return os.Chmod(dir, 0o700)
}
