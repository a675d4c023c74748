"""The radio link on paper: time on air, sensitivity, loss over distance, and what margin that leaves.

LoRa figures are those of the SX1276 family: Semtech, SX1276/77/78/79 data sheet, revision 7. Angles do not occur;
frequencies are hertz, times seconds, powers dBm, ratios dB.
"""

import math
from dataclasses import dataclass

LIGHT_MPS = 299_792_458.0
LONG_SYMBOL_S = 0.016  # past it the low data rate optimisation is required (data sheet, section 4.1.1.6)

# Sensitivity [dBm] by bandwidth [Hz] and spreading factor 7 to 12, band 862 to 1020 MHz, highest gain
# (data sheet, table 10, RFS_L125_HF and its neighbours).
_SENSITIVITY_DBM = {
    125_000: (-123.0, -126.0, -129.0, -132.0, -133.0, -136.0),
    250_000: (-120.0, -123.0, -125.0, -128.0, -130.0, -133.0),
    500_000: (-116.0, -119.0, -122.0, -125.0, -128.0, -130.0),
}
# Signal-to-noise ratio [dB] the demodulator needs, by spreading factor 6 to 12 (data sheet, table 13).
_SNR_LIMIT_DB = {6: -5.0, 7: -7.5, 8: -10.0, 9: -12.5, 10: -15.0, 11: -17.5, 12: -20.0}


@dataclass(frozen=True, slots=True)
class LoraSetting:
    """How a LoRa link is set.

    Attributes:
        spreading_factor: 6 to 12.
        bandwidth_hz: Bandwidth.
        coding_rate: 1 to 4, for 4/5 to 4/8.
        preamble_symbols: Programmed length of the preamble; 4.25 symbols come on top.
        header_bits: 20 with the explicit header, 0 with an implicit one.
        crc_bits: 16 with the payload's CRC, 0 without.
    """

    spreading_factor: int
    bandwidth_hz: float
    coding_rate: int = 1
    preamble_symbols: int = 8
    header_bits: int = 20
    crc_bits: int = 16

    def __post_init__(self) -> None:
        if not 6 <= self.spreading_factor <= 12:
            raise ValueError(f"found a spreading factor of {self.spreading_factor}, expected 6 to 12")
        if not self.bandwidth_hz > 0.0:
            raise ValueError(f"found a bandwidth of {self.bandwidth_hz} Hz, expected above zero")
        if not 1 <= self.coding_rate <= 4:
            raise ValueError(f"found a coding rate of {self.coding_rate}, expected 1 to 4 (for 4/5 to 4/8)")
        if self.spreading_factor == 6 and self.header_bits:
            raise ValueError("found an explicit header at spreading factor 6, expected an implicit one (0 bits)")

    @property
    def symbol_s(self) -> float:
        """Length of a symbol."""
        return 2.0**self.spreading_factor / self.bandwidth_hz

    @property
    def bit_rate_bps(self) -> float:
        """Useful bits a second within the payload."""
        return self.spreading_factor / self.symbol_s * 4.0 / (4.0 + self.coding_rate)

    @property
    def snr_limit_db(self) -> float:
        """The weakest signal-to-noise ratio that can still be demodulated."""
        return _SNR_LIMIT_DB[self.spreading_factor]

    @property
    def sensitivity_dbm(self) -> float | None:
        """The weakest signal that can be received, 862 to 1020 MHz; None where the data sheet has no figure."""
        row = _SENSITIVITY_DBM.get(round(self.bandwidth_hz))
        return None if row is None or self.spreading_factor == 6 else row[self.spreading_factor - 7]


def time_on_air_s(setting: LoraSetting, payload_bytes: int) -> float:
    """How long a packet is on air.

    Args:
        setting: The link's setting.
        payload_bytes: Payload, 1 to 255.
    Raises:
        ValueError: Outside.
    Source:
        Semtech, SX1276/77/78/79 data sheet, revision 7, section 4.1.1.7; AN1200.13.
    """
    if not 1 <= payload_bytes <= 255:
        raise ValueError(f"found a payload of {payload_bytes} bytes, expected 1 to 255")
    sf = setting.spreading_factor
    usable = sf - 2 if setting.symbol_s > LONG_SYMBOL_S else sf
    # 28 of the data sheet's formula are 8 and the explicit header's 20 bits
    bits = 8 * payload_bytes - 4 * sf + 8 + setting.crc_bits + setting.header_bits
    symbols = 8 + max(math.ceil(bits / (4 * usable)) * (setting.coding_rate + 4), 0)
    return (setting.preamble_symbols + 4.25 + symbols) * setting.symbol_s


def most_packets_per_s(setting: LoraSetting, payload_bytes: int, *, duty_cycle: float = 1.0) -> float:
    """The highest rate of packets that fits.

    Args:
        setting: The link's setting.
        payload_bytes: Payload, 1 to 255.
        duty_cycle: Share of the time the transmitter may be on air, above 0 to 1.
    Raises:
        ValueError: Outside.
    """
    if not 0.0 < duty_cycle <= 1.0:
        raise ValueError(f"found a duty cycle of {duty_cycle}, expected above 0 and up to 1")
    return duty_cycle / time_on_air_s(setting, payload_bytes)


def free_space_loss_db(distance_m: float, frequency_hz: float) -> float:
    """Basic transmission loss in free space.

    Args:
        distance_m: Distance, above zero; NaN gives NaN.
        frequency_hz: Frequency.
    Raises:
        ValueError: At or below zero.
    Source:
        Recommendation ITU-R P.525, eq. 4 with the exact constant 4π/c (the printed 32.4 dB is 0.048 dB lower).
    """
    if distance_m <= 0.0 or frequency_hz <= 0.0:
        raise ValueError(f"found {distance_m} m and {frequency_hz} Hz, expected both above zero")
    return 20.0 * math.log10(4.0 * math.pi * distance_m * frequency_hz / LIGHT_MPS)


def free_space_range_m(loss_db: float, frequency_hz: float) -> float:
    """The distance at which free space loses `loss_db`: the inverse of `free_space_loss_db`."""
    return float(10.0 ** (loss_db / 20.0) * LIGHT_MPS / (4.0 * math.pi * frequency_hz))


@dataclass(frozen=True, slots=True)
class Budget:
    """A link's budget at one distance."""

    received_dbm: float
    margin_db: float


def budget(
    distance_m: float, frequency_hz: float, *, radiated_dbm: float, receive_gain_dbi: float, sensitivity_dbm: float
) -> Budget:
    """Received strength and margin above the receiver's sensitivity over a free path.

    Args:
        distance_m: Distance, above zero.
        frequency_hz: Frequency.
        radiated_dbm: Transmitted power with the antenna's gain towards the receiver.
        receive_gain_dbi: The receiving antenna's gain.
        sensitivity_dbm: The receiver's.
    """
    received_dbm = radiated_dbm + receive_gain_dbi - free_space_loss_db(distance_m, frequency_hz)
    return Budget(received_dbm, received_dbm - sensitivity_dbm)


def margin_by_snr_db(setting: LoraSetting, snr_db: float) -> float:
    """How far a packet's signal-to-noise ratio lies above what the demodulator needs; NaN stays NaN."""
    return snr_db - setting.snr_limit_db


def margin_at_db(margin_db: float, distance_m: float, farther_m: float) -> float:
    """The margin to expect farther out, from the margin seen at a distance, in free space.

    Raises:
        ValueError: A distance at or below zero.
    """
    if distance_m <= 0.0 or farther_m <= 0.0:
        raise ValueError(f"found distances of {distance_m} m and {farther_m} m, expected both above zero")
    return margin_db - 20.0 * math.log10(farther_m / distance_m)
