package embeddedpg

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
)

var needed = []string{"initdb", "pg_ctl", "postgres"}

// findPrograms is the folder that holds the programs of Postgres.
func findPrograms(told, cluster string) (string, error) {
	if told != "" {
		if missing := missingIn(told); missing != "" {
			return "", fmt.Errorf("there is no %s in %s: name the folder that holds the server programs of Postgres", missing, told)
		}
		return told, nil
	}
	candidates := installed()
	if made, err := os.ReadFile(filepath.Join(cluster, "PG_VERSION")); err == nil {
		version := strings.TrimSpace(string(made))
		for _, dir := range candidates {
			if majorOf(dir) == version {
				return dir, nil
			}
		}
		return "", fmt.Errorf("the data folder was made by Postgres %s, which is not installed: "+
			"install it (apt-get install postgresql-%s), or move the data with pg_upgrade", version, version)
	}
	if len(candidates) == 0 {
		return "", errors.New("the server programs of Postgres (initdb, pg_ctl, postgres) are neither in PATH nor in /usr/lib/postgresql: " +
			"install them (apt-get install postgresql), name their folder, or give --database-url")
	}
	return candidates[0], nil
}

// installed lists folders with the programs: that of PATH first, then the
// newest.
func installed() []string {
	var dirs []string
	if path, err := exec.LookPath("pg_ctl"); err == nil {
		// Distributions link the programs into PATH one by one.
		if real, err := filepath.EvalSymlinks(path); err == nil {
			dirs = append(dirs, filepath.Dir(real))
		}
	}
	versioned, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // the pattern is well formed
	sort.Slice(versioned, func(i, j int) bool { return versionNumber(versioned[i]) > versionNumber(versioned[j]) })
	var found []string
	for _, dir := range append(dirs, versioned...) {
		if missingIn(dir) == "" {
			found = append(found, dir)
		}
	}
	return found
}

func versionNumber(bin string) float64 {
	v, err := strconv.ParseFloat(filepath.Base(filepath.Dir(bin)), 64)
	if err != nil {
		return 0
	}
	return v
}

func missingIn(dir string) string {
	for _, name := range needed {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.IsDir() {
			return name
		}
	}
	return ""
}

// majorOf asks the programs for their major version: "postgres (PostgreSQL) 15.4".
func majorOf(dir string) string {
	out, err := exec.Command(filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return ""
	}
	words := strings.Fields(string(out))
	for _, w := range words {
		if w[0] >= '0' && w[0] <= '9' {
			major, _, _ := strings.Cut(w, ".")
			return major
		}
	}
	return ""
}
