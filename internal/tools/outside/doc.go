// Package outside holds Python programs that paint fields and flights apart
// from the project's own generator, and mark what the built program says of
// them. There is no Go in it but a test.
package outside
