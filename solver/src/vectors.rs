//! Kernels compiled for the plain processor and for wide vectors; which one runs is chosen on the machine at hand.

/// Runs a kernel with the widest vectors of the processor.
///
/// The kernel is called through [`FnMut`], so that a closure with `#[inline(always)]` becomes part of the wide code: its
/// [`FnOnce`] entry would stay a function of its own, compiled for the plain processor.
pub(crate) fn widest<R>(kernel: impl FnMut() -> R) -> R {
    pulp::Arch::new().dispatch(Kernel(kernel))
}

/// Asks for the line of the cache that holds a value, if there is one at this place: it shall be near when its turn
/// comes.
#[inline(always)]
pub(crate) fn ask_for(place: *const f64) {
    #[cfg(target_arch = "x86_64")]
    if let Some(sse) = pulp::core_arch::x86::Sse::try_new() {
        const NEAR: i32 = std::arch::x86_64::_MM_HINT_T0;
        sse._mm_prefetch::<NEAR>(place.cast());
    }
    #[cfg(not(target_arch = "x86_64"))]
    let _ = place;
}

struct Kernel<F>(F);

impl<R, F: FnMut() -> R> pulp::WithSimd for Kernel<F> {
    type Output = R;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(mut self, _: S) -> R {
        (self.0)()
    }
}
