//! One test binary, one module per theme: checks against the outside world and over the whole path.

#[cfg(test)]
#[path = "../../examples/arm_width.rs"]
mod arm_width;
#[cfg(test)]
mod beam;
#[cfg(test)]
mod bend;
#[cfg(test)]
mod bend_swing;
#[cfg(test)]
mod drive;
#[cfg(test)]
mod fast_motion;
#[cfg(test)]
mod follow;
#[cfg(test)]
mod life;
#[cfg(test)]
mod magnet;
#[cfg(test)]
mod modes;
#[cfg(test)]
mod outputs;
#[cfg(test)]
mod published;
#[cfg(test)]
mod recovery;
#[cfg(test)]
mod refused;
#[cfg(test)]
mod runs;
#[cfg(test)]
mod screens;
#[cfg(test)]
mod stopped;
#[cfg(test)]
mod swing;
#[cfg(test)]
mod tidy;
