// Package arch holds no code: its test keeps the imports of the rooms going
// downwards, as docs/ARCHITECTURE.md draws them.
package arch
