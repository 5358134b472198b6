"""The phone set, and how the phone names of our sources map onto it.

The order is that of `Phone::ALL` in core/src/phonetics/phone.rs: the model's output order.
"""

PHONES = (
    "SIL AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH"
).split()
INDEX = {phone: i for i, phone in enumerate(PHONES)}

SHAPES = (
    "rest bilabial labiodental dental alveolar sibilant postalveolar rhotic velar open half-open spread rounded pursed"
).split()

# AH is open when stressed and half-open when not; frame labels carry no stress, so the score
# of a shape counts AH with half-open (what Phone::shape(false) says).
SHAPE_OF_PHONE = {
    "SIL": "rest",
    **dict.fromkeys("P B M".split(), "bilabial"),
    **dict.fromkeys("F V".split(), "labiodental"),
    **dict.fromkeys("TH DH".split(), "dental"),
    **dict.fromkeys("T D N L".split(), "alveolar"),
    **dict.fromkeys("S Z".split(), "sibilant"),
    **dict.fromkeys("SH ZH CH JH".split(), "postalveolar"),
    **dict.fromkeys("R ER".split(), "rhotic"),
    **dict.fromkeys("K G NG".split(), "velar"),
    **dict.fromkeys("AA AY AW".split(), "open"),
    **dict.fromkeys("AH EH AE EY HH".split(), "half-open"),
    **dict.fromkeys("IY IH Y".split(), "spread"),
    **dict.fromkeys("AO OY OW".split(), "rounded"),
    **dict.fromkeys("UW UH W".split(), "pursed"),
}
SHAPE_INDEX = [SHAPES.index(SHAPE_OF_PHONE[p]) for p in PHONES]

# Names outside the 39: flite's and festival's reduced vowels and pauses, the aligner's fillers.
_OTHER = {
    "AX": "AH", "AXR": "ER", "IX": "IH", "UX": "UW", "DX": "T", "NX": "N", "EL": "L", "EM": "M", "EN": "N",
    "PAU": "SIL", "H#": "SIL", "BRTH": "SIL", "SSIL": "SIL", "+SPN+": "SIL", "+NSN+": "SIL", "<SIL>": "SIL", "_": "SIL",
}  # fmt: skip


def to_phone(name: str) -> str | None:
    """The phone of the set for a source's name (any case, stress digit allowed); None if unknown."""
    bare = name.upper().rstrip("012")
    if bare in INDEX:
        return bare
    return _OTHER.get(bare) or _OTHER.get(name.upper())
