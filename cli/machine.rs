//! What the program asks of the machine it runs on.

/// Memory that programs may still take without the machine starting to swap, bytes; None where it cannot be told.
///
/// Linux tells it in `/proc/meminfo`; elsewhere there is no limit.
pub(crate) fn free_memory() -> Option<u64> {
    available(&std::fs::read_to_string("/proc/meminfo").ok()?)
}

fn available(text: &str) -> Option<u64> {
    let line = text.lines().find_map(|line| line.strip_prefix("MemAvailable:"))?;
    let kilobytes: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    kilobytes.checked_mul(1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn available_memory_is_read_and_nothing_else() {
        let text = "MemTotal:       24000000 kB\nMemFree: 1 kB\nMemAvailable:   18000000 kB\n";
        assert_eq!(available(text), Some(18_000_000 * 1024), "the line that counts cache as free");
        assert_eq!(available("MemTotal: 5 kB\n"), None, "an old kernel");
        assert_eq!(available("MemAvailable: much kB\n"), None, "no number");
    }
}
