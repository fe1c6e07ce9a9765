package embeddedpg

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the operating system account that the cluster runs as.
type account struct {
	name     string
	uid, gid int
	// other is set when it is not the account of this process.
	other bool
}

// chooseAccount is this process's own account, or for root an unprivileged one.
func chooseAccount() (*account, error) {
	if os.Geteuid() != 0 {
		u, err := user.Current()
		if err != nil {
			return nil, fmt.Errorf("finding the account of this process, which Postgres needs: %w", err)
		}
		return &account{name: u.Username, uid: os.Geteuid(), gid: os.Getegid()}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err1 == nil && err2 == nil && uid != 0 {
			return &account{name: name, uid: uid, gid: gid, other: true}, nil
		}
	}
	return nil, errors.New("as root no Postgres runs, and there is no account \"postgres\" or \"nobody\" to run it as: " +
		"create one (useradd --system postgres), start the server as an ordinary user, or give --database-url")
}

// own gives a file or folder to the account.
func (a *account) own(path string) error {
	if !a.other {
		return nil
	}
	return os.Lchown(path, a.uid, a.gid)
}

// mayEnter refuses a folder that the account can't reach because of the
// folder's own mode or that of one above it.
func (a *account) mayEnter(path string) error {
	if !a.other {
		return nil
	}
	for dir := path; ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		if err != nil {
			return err
		}
		if st, ok := info.Sys().(*syscall.Stat_t); ok && !a.hasSearch(info.Mode(), st) {
			return fmt.Errorf("the account %q, which Postgres runs as because this process is root, can't enter %s: "+
				"make it enterable (chmod o+x %s) or choose another data folder", a.name, dir, dir)
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
	}
}

func (a *account) hasSearch(mode os.FileMode, st *syscall.Stat_t) bool {
	switch {
	case int(st.Uid) == a.uid:
		return mode&0o100 != 0
	case int(st.Gid) == a.gid:
		return mode&0o010 != 0
	default:
		return mode&0o001 != 0
	}
}

// lockFile takes the data folder for this process; a second server on the same
// folder is refused.
func lockFile(path, dataDir string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("the data folder %s can't be written to: %w", dataDir, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("another server is at work on the data folder %s: stop it, or choose another folder", dataDir)
		}
		return nil, fmt.Errorf("locking the data folder %s: %w", dataDir, err)
	}
	return f, nil
}
