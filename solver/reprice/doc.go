// Package reprice keeps many formulas solved over shared materials while prices
// and stock move, and solves only what it must.
//
// A linear program that was solved once leaves more than its answer: a basis, the
// prices of its rows y and the reduced costs d = c - A'y. After a change these are
// tried in the order of what they cost:
//
//  1. Nothing in the formula's columns changed: the answer stands.
//  2. Only costs outside the basis changed. Then y stands, each such d moves by as
//     much as its cost, and where every sign still fits (a candidate that is left
//     out is not below its entry price) the answer stands.
//  3. The basis is kept factorised, so that the prices c_B B^-1 at the new costs
//     and the point B^-1 b at the new bounds are a multiplication away. Where both
//     are feasible the basis is still optimal.
//  4. It is solved again, from that basis.
//
// (Chvatal, Linear Programming, 1983, chapter 10, from memory.) Whatever the way,
// every answer is certified from its model (package certify), and one that does
// not pass is solved.
//
// A Book never changes: a change of prices gives the next Book, which shares with
// it what stayed. So a question of what would be can be asked of a book while
// others read it, and a call that is broken off has done nothing.
package reprice
