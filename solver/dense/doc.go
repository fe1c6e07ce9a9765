// Package dense solves linear programs of the size of one formula (some
// hundreds of columns, some tens of rows) in plain Go. On such models it beats
// a library made for a million columns, most of whose time goes into loading
// and freeing. It is an engine like the others; models beyond its size are for
// another (Suits).
//
// Method: the bounded simplex method on an explicit inverse of the basis. Each
// row i gets a slack s_i = -(A x)_i between -rowUpper and -rowLower, so that
// the system is A x + s = 0 and the slack basis is the identity. The inverse
// has a unit column for every row whose slack is basic; only the columns of the
// tight rows are kept, so a solve that ends with few basic variables works on
// little more than those.
//
// The dual simplex runs first: steepest-edge choice of the row (Forrest and
// Goldfarb, Mathematical Programming 57, 1992; the norms are exact, since the
// inverse is at hand), and a ratio test that flips boxed variables on its way
// (Maros, Computational Techniques of the Simplex Method, 2003, section 10.2.4)
// within the tolerances of Harris (Mathematical Programming 5, 1973). Where a
// cost forbids a dual start it is moved out of the way first and put back
// afterwards; from the feasible point so found, the primal simplex goes on with
// the true costs. Stalling is met by moving the costs a little, then by Bland's
// rule.
//
// At the end values and prices are computed again from the model's own figures
// and refined. Rays are checked against the model before they are claimed; in
// doubt the answer is StopNumerical.
package dense
