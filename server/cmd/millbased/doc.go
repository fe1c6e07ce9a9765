// Command millbased is the server of the plant's book: gRPC and REST over one
// Postgres, its own private one or any other.
//
//	millbased --data /var/lib/millbase
//	millbased --database-url postgres://user@host/db --data /var/lib/millbase
//
// It brings the database up to date at start. On a book without any API key it
// makes one for the administrator and writes it to admin.key in the data folder,
// readable by the owner alone.
//
// Every flag can be given as an environment variable: MILLBASE_ and the flag's
// name in capitals with underscores (--log-level is MILLBASE_LOG_LEVEL). A flag
// wins over its variable.
//
// It stops on SIGTERM and SIGINT: no more calls are taken, those at work are
// finished, then Postgres is stopped. A second signal ends it at once.
//
// Exit codes: 0 stopped as asked, 1 failed, 2 wrong flags.
package main
