// Package lot is a delivery or a production run of one material that is kept
// apart, with its own certificate, status and dates.
package lot
