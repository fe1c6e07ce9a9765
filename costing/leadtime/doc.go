// Package leadtime promises when a quantity can be had, and says what decides it.
//
// There are two ways to have it: from finished stock (and batches already on
// their way), or by making it. Making waits for materials (stock, open orders
// by their due dates, or a new order at the supplier's lead time), then runs
// the steps in order on the plant's calendar. The earlier of the two ways is the
// promise; stock wins a tie.
//
// A step runs on the first of its machines to finish it, in a gap between what
// is already planned there: nothing that is planned moves. A machine is taken
// from the start of a step to its end, nights and pauses included.
//
// What decides is found by asking again with one cause taken away: with all
// materials here, with all machines free, with both. The cause whose absence
// brings the promise furthest forward decides; when neither does, the process
// time itself decides.
//
// The caller gives what is free: stock and supplies that nobody else has been
// promised, and all that is planned on the machines. The answer depends on the
// request alone, never on the clock or on the order of the lists.
package leadtime
