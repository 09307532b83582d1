//! Kernels compiled for the plain processor and for wide vectors; which one runs is chosen on the machine at hand.

/// Runs a kernel with the widest vectors of the processor.
///
/// The kernel is called through [`FnMut`], so that a closure with `#[inline(always)]` becomes part of the wide code: its
/// [`FnOnce`] entry would stay a function of its own, compiled for the plain processor.
pub(crate) fn widest<R>(kernel: impl FnMut() -> R) -> R {
    pulp::Arch::new().dispatch(Kernel(kernel))
}

struct Kernel<F>(F);

impl<R, F: FnMut() -> R> pulp::WithSimd for Kernel<F> {
    type Output = R;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(mut self, _: S) -> R {
        (self.0)()
    }
}
