//! SHA-256, HMAC-SHA-256 and the little that goes with them.

use sha2::{Digest, Sha256};

/// Octets in a SHA-256 digest.
pub const DIGEST_OCTETS: usize = 32;

/// Octets in a block of SHA-256 (`B` in RFC 2104).
const BLOCK_OCTETS: usize = 64;

/// The SHA-256 digest of `data`.
pub fn sha256(data: &[u8]) -> [u8; DIGEST_OCTETS] {
    Sha256::digest(data).into()
}

/// The HMAC-SHA-256 of `data` under `key`, by RFC 2104 section 2; a key longer than a block is hashed first.
pub fn hmac_sha256(key: &[u8], data: &[u8]) -> [u8; DIGEST_OCTETS] {
    let hashed;
    let key = if key.len() > BLOCK_OCTETS {
        hashed = sha256(key);
        &hashed[..]
    } else {
        key
    };
    let mut inner = [0x36_u8; BLOCK_OCTETS];
    let mut outer = [0x5c_u8; BLOCK_OCTETS];
    for (octet, (i, o)) in key.iter().zip(inner.iter_mut().zip(&mut outer)) {
        *i ^= octet;
        *o ^= octet;
    }
    let message = Sha256::new().chain_update(inner).chain_update(data);
    Sha256::new().chain_update(outer).chain_update(message.finalize()).finalize().into()
}

/// `octets` in lower-case hexadecimal.
pub fn hex(octets: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let digit = |value: u8| char::from(DIGITS[usize::from(value & 15)]);
    let mut out = String::with_capacity(octets.len() * 2);
    for octet in octets {
        out.push(digit(octet >> 4));
        out.push(digit(*octet));
    }
    out
}

/// The octets that `text` writes in hexadecimal of either case; `None` for an odd length or another character.
pub fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u32> = text.chars().map(|c| c.to_digit(16)).collect::<Option<_>>()?;
    let (pairs, rest) = digits.as_chunks::<2>();
    if !rest.is_empty() {
        return None;
    }
    pairs.iter().map(|[high, low]| u8::try_from(high * 16 + low).ok()).collect()
}

/// Whether two octet strings are equal, in a time that depends on their lengths alone.
pub fn same(a: &[u8], b: &[u8]) -> bool {
    if a.len() != b.len() {
        return false;
    }
    let differing = a.iter().zip(b).fold(0_u8, |sum, (x, y)| sum | (x ^ y));
    // The barrier keeps the compiler from turning the sum into an early exit.
    std::hint::black_box(differing) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_one_block_example_of_fips_180() {
        // Source: FIPS 180-4, example "abc" of the SHA-256 worked examples.
        assert_eq!(hex(&sha256(b"abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn hexadecimal_goes_both_ways_and_refuses_the_rest() {
        let all: Vec<u8> = (0..=255).collect();
        assert_eq!(unhex(&hex(&all)), Some(all));
        assert_eq!(unhex("FFfe"), Some(vec![255, 254]));
        assert_eq!(unhex("abc"), None);
        assert_eq!(unhex("zz"), None);
        assert_eq!(unhex("+1"), None);
        assert_eq!(unhex("é"), None);
    }

    #[test]
    fn same_sees_every_single_bit() {
        let word = sha256(b"word");
        assert!(same(&word, &word));
        assert!(same(b"", b""));
        assert!(!same(&word, &word[..31]));
        for bit in 0..256 {
            let mut other = word;
            other[bit / 8] ^= 1 << (bit % 8);
            assert!(!same(&word, &other), "bit {bit}");
        }
    }
}
