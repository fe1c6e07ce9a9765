// Command millbench measures the figures that Millbase promises and prints one
// line for each:
//
//	BAR name value <= goal
//	BAR name value >= goal
//
// Every figure is a ratio of two things measured side by side in one run, taking
// turns, so that a busy machine slows both. Postgres runs as it does at a plant:
// fsync and synchronous_commit are on. It leaves with 1 when a bar is missed.
package main
