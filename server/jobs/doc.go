// Package jobs does the long work of operations on this server: workers on a job
// queue in the same Postgres (River), any number of servers beside each other.
//
// The queue says which server takes an operation next; the row of the operation
// says everything else, and holds whatever happens to servers:
//
//   - A server that takes an operation gets the next attempt number and a lease,
//     which it renews twice a second, writing the progress along. Every later write
//     names the attempt. A server that was taken for dead and comes back writes
//     nothing: the number has moved on.
//   - Every server looks for leases that ran out, by the database's clock, and puts
//     such an operation back into the queue. So the work of a killed server begins
//     again elsewhere within about a lease. One that loses its server three times
//     has failed.
//   - The result is written in one transaction with the end of the job, and Postgres
//     refuses to change what has ended.
//   - A wish to cancel is seen when the lease is renewed, and ends the context of the
//     work. A server that stops gives its work back to the queue after the grace.
//
// What a request is refused for is its end; only what may pass (too busy, a lost
// connection) is tried again, at most three times.
package jobs
