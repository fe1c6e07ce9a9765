// Package paper sets a quote as a page to print: a customer copy, without formula
// and cost, and an internal copy with both, in HTML, as PDF, and the picture of the
// shade asked for and the shade matched.
//
// A customer copy is made of the API's [millbasev1.CustomerQuote] alone, so that
// nothing stands on it that the customer may not read. Each copy is one A4 page;
// with many quantities or parts it is set closer, and what then does not fit goes
// on to further pages: no row of a table is broken, its heading is repeated, and
// the foot of each page counts the pages.
//
// [Copy.Write] writes the files.
// [Browser] prints with a Chromium that is on the machine.
package paper
