package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"millbase/server/gateway"
	"millbase/server/rpc"
)

// config is what the flags say.
type config struct {
	data        string
	databaseURL string
	postgresBin string
	grpcAddr    string
	httpAddr    string
	logLevel    string
	logFormat   string
	tlsCert     string
	tlsKey      string
	otlp        string
	timeout     time.Duration
	maxTimeout  time.Duration
	grace       time.Duration
	maxBody     int64
	solves      int
	jobs        int
	apart       bool
	checkLedger bool
	version     bool
}

func (c *config) flags() *pflag.FlagSet {
	f := pflag.NewFlagSet("millbased", pflag.ContinueOnError)
	f.SortFlags = false
	f.StringVar(&c.data, "data", "", "data folder: the private Postgres, and the administrator's first key")
	f.StringVar(&c.databaseURL, "database-url", "", "use this Postgres instead of a private one: postgres://user@host/database; several hosts follow a failover")
	f.StringVar(&c.postgresBin, "postgres-bin", "", "folder of the Postgres programs (initdb, pg_ctl, postgres), if they are not found by themselves")
	f.StringVar(&c.grpcAddr, "grpc", "127.0.0.1:9480", "host:port of gRPC (also --grpc-addr)")
	f.StringVar(&c.httpAddr, "http", "127.0.0.1:8480", "host:port of REST and the web pages (also --http-addr)")
	f.StringVar(&c.tlsCert, "tls-cert", "", "file with the certificate chain (PEM); with --tls-key both addresses are encrypted")
	f.StringVar(&c.tlsKey, "tls-key", "", "file with the private key (PEM)")
	f.StringVar(&c.logLevel, "log-level", "info", "debug (every call), info (refused calls), warn, error")
	f.StringVar(&c.logFormat, "log-format", "text", "text or json")
	f.StringVar(&c.otlp, "otlp-endpoint", "", "host:port of an OpenTelemetry collector (OTLP over gRPC) that gets traces; empty: no traces")
	f.DurationVar(&c.timeout, "timeout", rpc.DefaultTimeout, "time for a call that brings no deadline")
	f.DurationVar(&c.maxTimeout, "max-timeout", rpc.MaxTimeout, "time for any call")
	f.DurationVar(&c.grace, "grace", 20*time.Second, "time that calls at work get when the server stops")
	f.Int64Var(&c.maxBody, "max-body", gateway.DefaultMaxBody, "largest request, bytes")
	f.IntVar(&c.solves, "solves", runtime.GOMAXPROCS(0), "optimisations that run at the same time; further ones wait")
	f.IntVar(&c.jobs, "jobs", 2, "operations (long work off the request) that this server works on at the same time; 0 leaves them to other servers")
	f.BoolVar(&c.apart, "solve-apart", true, "solve with whole numbers in processes of their own, so that a crash or hang there is no crash here")
	f.BoolVar(&c.checkLedger, "check-ledger", false, "rebuild every balance from the ledger, report, and exit")
	f.BoolVar(&c.version, "version", false, "print the version and exit")
	f.SetNormalizeFunc(func(_ *pflag.FlagSet, name string) pflag.NormalizedName {
		switch name {
		case "grpc-addr", "http-addr":
			name = strings.TrimSuffix(name, "-addr")
		}
		return pflag.NormalizedName(name)
	})
	return f
}

// parse reads flags and environment. done means that everything that was asked
// for (help, version) has been printed to out.
func parse(args []string, env func(string) (string, bool), out io.Writer) (c config, done bool, err error) {
	f := c.flags()
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	if err := f.Parse(args); errors.Is(err, pflag.ErrHelp) {
		fmt.Fprintf(out, "millbased serves the plant's book: gRPC and REST over one Postgres.\n\nFlags (or MILLBASE_... in the environment, as in MILLBASE_LOG_LEVEL):\n%s", f.FlagUsages())
		return c, true, nil
	} else if err != nil {
		return c, false, fmt.Errorf("%w; millbased --help lists the flags", err)
	}
	if f.NArg() > 0 {
		return c, false, fmt.Errorf("%q is not a flag; millbased --help lists them", f.Arg(0))
	}
	if c.version {
		fmt.Fprintf(out, "millbased %s %s\n", version, runtime.Version())
		return c, true, nil
	}
	f.VisitAll(func(flag *pflag.Flag) {
		name := "MILLBASE_" + strings.ToUpper(strings.ReplaceAll(flag.Name, "-", "_"))
		if value, set := env(name); set && !flag.Changed && err == nil {
			if e := f.Set(flag.Name, value); e != nil {
				err = fmt.Errorf("%s=%q: %w", name, value, e)
			}
		}
	})
	if err != nil {
		return c, false, err
	}
	return c, false, c.check()
}

func (c *config) check() error {
	switch {
	case c.data == "" && c.databaseURL == "":
		return errors.New("say where the book is: --data for a private Postgres, or --database-url")
	case (c.tlsCert == "") != (c.tlsKey == ""):
		return errors.New("--tls-cert and --tls-key belong together: give both or none")
	case c.solves < 1:
		return errors.New("--solves must be at least 1")
	case c.jobs < 0:
		return errors.New("--jobs must not be below 0")
	case c.timeout <= 0 || c.maxTimeout <= 0 || c.grace <= 0 || c.maxBody <= 0:
		return errors.New("--timeout, --max-timeout, --grace and --max-body must be above zero")
	case c.logFormat != "text" && c.logFormat != "json":
		return fmt.Errorf("--log-format %q is not known; use text or json", c.logFormat)
	}
	if c.data != "" {
		absolute, err := filepath.Abs(c.data)
		if err != nil {
			return fmt.Errorf("--data: %w", err)
		}
		c.data = absolute
	}
	_, err := c.level()
	return err
}

func (c *config) level() (slog.Level, error) {
	var level slog.Level
	if err := level.UnmarshalText([]byte(c.logLevel)); err != nil {
		return level, fmt.Errorf("--log-level %q is not known; use debug, info, warn or error", c.logLevel)
	}
	return level, nil
}

func (c *config) logger(to io.Writer) *slog.Logger {
	level, _ := c.level() // checked when the flags were read
	options := &slog.HandlerOptions{Level: level}
	if c.logFormat == "json" {
		return slog.New(slog.NewJSONHandler(to, options))
	}
	return slog.New(slog.NewTextHandler(to, options))
}

// certificate is nil when neither file is named.
func (c *config) certificate() (*tls.Config, error) {
	if c.tlsCert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(c.tlsCert, c.tlsKey)
	if err != nil {
		return nil, fmt.Errorf("the certificate can't be used; check --tls-cert and --tls-key: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}

// keyFile is where the administrator's first key goes; empty without a data
// folder.
func (c *config) keyFile() string {
	if c.data == "" {
		return ""
	}
	return filepath.Join(c.data, "admin.key")
}

// writeKey writes the key for its owner alone.
func writeKey(path, secret string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, []byte(secret+"\n"), 0o600)
}
