//! What the program asks of the machine it runs on.

/// Setting of the C library that makes it ask for large pages where it hands out much memory at once.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
const LARGE_PAGES: [&str; 2] = ["GLIBC_TUNABLES", "glibc.malloc.hugetlb=1"];

/// Starts the program anew in its own place with large pages, where the machine gives them to those who ask.
///
/// Filling a gigabyte page by page takes a tenth of the time of a large board. The C library reads the setting at its
/// start only, hence the second start. Returns where there is nothing to gain, or the user has settings of their own.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
pub(crate) fn with_large_pages() {
    use std::os::unix::process::CommandExt;
    let [name, value] = LARGE_PAGES;
    let given = std::fs::read_to_string("/sys/kernel/mm/transparent_hugepage/enabled");
    if std::env::var_os(name).is_some() || !given.is_ok_and(|text| on_request(&text)) {
        return;
    }
    let Ok(program) = std::env::current_exe() else { return };
    let mut words = std::env::args_os();
    let mut again = std::process::Command::new(program);
    if let Some(own) = words.next() {
        again.arg0(own);
    }
    // Comes back only when it cannot be done: then the pages stay small.
    let _ = again.args(words).env(name, value).exec();
}

/// As above: nothing to ask for on other machines.
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub(crate) fn with_large_pages() {}

/// Whether large pages go to programs that ask for them, by the kernel's own words (the choice stands in brackets).
#[cfg(any(test, all(target_os = "linux", target_env = "gnu")))]
fn on_request(text: &str) -> bool {
    text.contains("[madvise]")
}

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
    fn large_pages_are_asked_for_where_the_choice_is_on_request() {
        // Wording of the Linux kernel's documentation of transparent huge pages.
        assert!(on_request("always [madvise] never\n"), "on request");
        assert!(!on_request("[always] madvise never\n"), "given to all anyway");
        assert!(!on_request("always madvise [never]\n"), "given to nobody");
    }

    #[test]
    fn available_memory_is_read_and_nothing_else() {
        let text = "MemTotal:       24000000 kB\nMemFree: 1 kB\nMemAvailable:   18000000 kB\n";
        assert_eq!(available(text), Some(18_000_000 * 1024), "the line that counts cache as free");
        assert_eq!(available("MemTotal: 5 kB\n"), None, "an old kernel");
        assert_eq!(available("MemAvailable: much kB\n"), None, "no number");
    }
}
