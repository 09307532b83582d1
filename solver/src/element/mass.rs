//! Consistent mass of the shell triangle.
