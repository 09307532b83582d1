//! Layout advice on small boards made for it.
