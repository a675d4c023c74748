"""Names, numbers and comments as C99 wants them."""

import re

_KEYWORDS = frozenset(
    re.findall(
        r"\w+",
        """
        auto break case char const continue default do double else enum extern float for goto if inline int long
        register restrict return short signed sizeof static struct switch typedef union unsigned void volatile while
        _Bool _Complex _Imaginary and and_eq asm bitand bitor bool catch class compl const_cast delete dynamic_cast
        explicit export false friend mutable namespace new not not_eq operator or or_eq private protected public
        reinterpret_cast static_cast template this throw true try typeid typename using virtual wchar_t xor xor_eq
        alignas alignof char16_t char32_t constexpr decltype noexcept nullptr static_assert thread_local
        """,
    )
)
"""Keywords of C99 and, because much firmware is compiled as C++, of C++11 (ISO/IEC 9899:1999, 14882:2011)."""


def identifier(name: str) -> str:
    """A name of the layout as an identifier; one that is a keyword gets an underscore."""
    word = re.sub(r"[^A-Za-z0-9_]", "_", name)
    if not word or word[0].isdigit():
        word = f"v{word}"
    return f"{word}_" if word in _KEYWORDS else word


def comment(text: str) -> str:
    """Text that may stand inside a comment."""
    return " ".join(text.split()).replace("*/", "* /").replace("/*", "/ *").replace("??", "? ?").rstrip("\\")


def holder_bits(bits: int) -> int:
    """The width of the narrowest C integer that holds so many bits."""
    return next(width for width in (8, 16, 32, 64) if bits <= width)


def literal(number: int, bits: int) -> str:
    """An unsigned constant for a register of that many bits."""
    return f"UINT{bits}_C(0x{number:X})"
