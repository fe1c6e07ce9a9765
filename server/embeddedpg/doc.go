// Package embeddedpg runs a private Postgres cluster from the installed Postgres
// programs, so that the server works on a fresh machine without a database
// administrator.
//
// # Layout of the data folder
//
//	postgres.lock        held (flock) by the process that runs the cluster
//	postgres/cluster     the cluster, made once by initdb
//	postgres/run         the socket, unless its path would be too long
//	postgres/log         one log per weekday, overwritten after a week
//	postgres/start.log   what pg_ctl and the postmaster say while starting
//
// # Who may connect
//
// The cluster listens on a Unix socket only, in a folder that only its owner may
// enter, and admits (peer authentication) only the account that it runs as and
// the account of this process. Postgres refuses to run as root; a process that is
// root runs it as "postgres" when there is such an account, else as "nobody".
//
// # Life
//
// Start makes the cluster when there is none, starts it, and waits until it
// answers. When this process dies without Stop (SIGKILL, power), the postmaster
// may go on running or leave its pid file behind: the next Start adopts the one
// and clears away the other, and Postgres replays its log. Stop is a fast
// shutdown: sessions are ended, everything committed is kept.
package embeddedpg
