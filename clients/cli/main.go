package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // the plant's zone, on machines without a zone database

	"github.com/spf13/cobra"
)

// version is set when a release is built.
var version = "development"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run executes one command line and returns the exit code.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	a := &app{out: stdout}
	defer a.close()
	root := a.root()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	var coded *exit
	if errors.As(err, &coded) {
		if coded.text != "" {
			fmt.Fprintln(stderr, "millbase:", coded.text)
		}
		return coded.code
	}
	fmt.Fprintln(stderr, "millbase:", err)
	fmt.Fprintln(stderr, "See 'millbase --help'.")
	return exitUsage
}

// The exit codes.
const (
	exitFailed      = 1
	exitUsage       = 2
	exitNoFormula   = 3
	exitUnreachable = 4
)

// exit is an error that says with which code to leave.
type exit struct {
	code int
	text string
}

func (e *exit) Error() string { return e.text }

// root builds the command tree.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "millbase",
		Short: "The raw-material book and formula optimiser of a printing-ink plant",
		Long: `The raw-material book and formula optimiser of a printing-ink plant.

It talks to a millbased server. Say where it is and who you are by flags or by
the environment: MILLBASE_SERVER (host:port of gRPC) and MILLBASE_KEY (API key).`,
		Example: `  millbase optimise sheetfed-cyan --kg 250
  millbase coverage --short
  millbase lead-time sheetfed-black --kg 250`,
		Version: version, SilenceUsage: true, SilenceErrors: true,
	}
	f := root.PersistentFlags()
	f.StringVar(&a.server, "server", env("MILLBASE_SERVER", "127.0.0.1:9480"), "host:port of the server's gRPC")
	f.StringVar(&a.key, "key", "", "API key (default $MILLBASE_KEY)")
	f.BoolVar(&a.tls, "tls", os.Getenv("MILLBASE_TLS") == "1", "encrypt the connection (the server has a certificate)")
	f.BoolVar(&a.json, "json", false, "print the answer as JSON")
	root.AddGroup(
		&cobra.Group{ID: groupMake, Title: "For the ink maker:"},
		&cobra.Group{ID: groupBuy, Title: "For purchasing:"},
		&cobra.Group{ID: groupDesk, Title: "For the order desk:"},
		&cobra.Group{ID: groupStore, Title: "For stores, quality control and weigh-up:"},
		&cobra.Group{ID: groupPlant, Title: "For the plant:"},
	)
	root.AddCommand(
		a.optimise(), a.specifications(), a.formulas(), a.cost(), a.reprice(), a.quote(), a.colours(), a.match(), a.batch(), a.correct(), a.frontier(), a.compare(),
		a.coverage(), a.plan(), a.pegging(), a.orders(), a.offers(), a.prices(), a.suppliers(),
		a.leadTime(), a.products(),
		a.materials(), a.lots(), a.receive(), a.stock(), a.move(), a.movements(), a.reserve(), a.ledger(),
		a.operations(), a.plant(), a.keys(), a.demo(),
	)
	return root
}

const (
	groupMake  = "make"
	groupBuy   = "buy"
	groupDesk  = "desk"
	groupStore = "store"
	groupPlant = "plant"
)

func env(name, otherwise string) string {
	if v := os.Getenv(name); v != "" {
		return v
	}
	return otherwise
}
