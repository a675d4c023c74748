import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.estimation.radio import (
    LoraSetting,
    budget,
    free_space_loss_db,
    free_space_range_m,
    margin_at_db,
    margin_by_snr_db,
    most_packets_per_s,
    time_on_air_s,
)

# Semtech's formula (SX1276/77/78/79 data sheet, revision 7, section 4.1.1.7): the first three rows and the 10-byte
# rows at 125 kHz are printed in network operators' tables of air time; the others are worked out from the formula.
AIR_TIME = [
    (7, 125e3, 10, 41.216),
    (9, 125e3, 13, 164.864),
    (11, 125e3, 10, 577.536),
    (8, 125e3, 10, 72.192),
    (10, 125e3, 10, 288.768),
    (12, 125e3, 10, 991.232),
    (7, 125e3, 20, 56.576),
    (7, 250e3, 50, 48.768),
    (8, 500e3, 64, 53.888),
    (10, 125e3, 50, 616.448),
    (12, 125e3, 51, 2465.792),
    (7, 125e3, 255, 399.616),
]


@pytest.mark.parametrize(("sf", "bandwidth_hz", "payload", "milliseconds"), AIR_TIME)
def test_time_on_air_agrees_with_the_published_formula(
    sf: int, bandwidth_hz: float, payload: int, milliseconds: float
) -> None:
    assert time_on_air_s(LoraSetting(sf, bandwidth_hz), payload) * 1e3 == pytest.approx(milliseconds, abs=1e-6)


def test_leaving_out_the_crc_saves_a_block_of_symbols() -> None:
    assert time_on_air_s(LoraSetting(7, 125e3, crc_bits=0), 20) * 1e3 == pytest.approx(51.456, abs=1e-6)


@pytest.mark.parametrize(("sf", "rate"), [(7, 5468.75), (9, 1757.8125), (12, 292.96875)])
def test_bit_rate_at_125_kilohertz(sf: int, rate: float) -> None:
    # Data sheet, revision 7: Rb = SF·BW/2^SF·4/(4 + CR)
    assert LoraSetting(sf, 125e3).bit_rate_bps == pytest.approx(rate, abs=1e-9)


def test_highest_packet_rate_fills_the_air() -> None:
    setting = LoraSetting(7, 250e3)
    assert most_packets_per_s(setting, 50) * time_on_air_s(setting, 50) == pytest.approx(1.0)
    assert most_packets_per_s(setting, 50, duty_cycle=0.1) == pytest.approx(0.1 / 0.048768)


@pytest.mark.parametrize(
    ("sf", "bandwidth_hz", "dbm"),
    [(7, 125e3, -123.0), (12, 125e3, -136.0), (9, 250e3, -125.0), (10, 500e3, -125.0), (12, 500e3, -130.0)],
)
def test_sensitivity_is_the_data_sheets(sf: int, bandwidth_hz: float, dbm: float) -> None:
    assert LoraSetting(sf, bandwidth_hz).sensitivity_dbm == dbm


def test_sensitivity_without_a_published_figure_is_not_made_up() -> None:
    assert LoraSetting(7, 62.5e3).sensitivity_dbm is None
    assert LoraSetting(6, 125e3, header_bits=0).sensitivity_dbm is None


def test_margin_counts_from_the_demodulators_limit() -> None:
    # Data sheet, table 13: -7.5 dB at SF7, -20 dB at SF12
    assert margin_by_snr_db(LoraSetting(7, 125e3), 4.0) == 11.5
    assert margin_by_snr_db(LoraSetting(12, 125e3), -18.0) == 2.0
    assert math.isnan(margin_by_snr_db(LoraSetting(7, 125e3), math.nan))


@pytest.mark.parametrize(
    ("megahertz", "kilometres", "loss_db"),
    [
        (433.92, 0.1, 65.196),
        (433.92, 5.0, 99.175),
        (868.0, 0.5, 85.198),
        (868.0, 1.0, 91.218),
        (915.0, 1.0, 91.676),
        (915.0, 5.0, 105.656),
    ],
)
def test_free_space_loss_follows_the_recommendation(megahertz: float, kilometres: float, loss_db: float) -> None:
    # Recommendation ITU-R P.525: 32.4 + 20·log f(MHz) + 20·log d(km), with its exact constant 32.4478.
    loss = free_space_loss_db(kilometres * 1e3, megahertz * 1e6)
    assert loss == pytest.approx(loss_db, abs=0.001)
    assert loss == pytest.approx(32.4 + 20 * math.log10(megahertz) + 20 * math.log10(kilometres), abs=0.05)


@given(st.floats(1.0, 1e5), st.floats(1e8, 3e9))
def test_range_is_the_inverse_of_loss(distance_m: float, frequency_hz: float) -> None:
    loss = free_space_loss_db(distance_m, frequency_hz)
    assert free_space_range_m(loss, frequency_hz) == pytest.approx(distance_m, rel=1e-9)


def test_a_budget_adds_up_and_falls_by_six_decibels_a_doubling() -> None:
    near = budget(1000.0, 868e6, radiated_dbm=14.0, receive_gain_dbi=2.0, sensitivity_dbm=-123.0)
    far = budget(2000.0, 868e6, radiated_dbm=14.0, receive_gain_dbi=2.0, sensitivity_dbm=-123.0)
    assert near.received_dbm == pytest.approx(16.0 - 91.218, abs=0.001)
    assert near.margin_db - far.margin_db == pytest.approx(6.0206, abs=0.0001)
    assert margin_at_db(near.margin_db, 1000.0, 2000.0) == pytest.approx(far.margin_db)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: LoraSetting(5, 125e3), "spreading factor of 5"),
        (lambda: LoraSetting(6, 125e3), "explicit header"),
        (lambda: LoraSetting(7, 0.0), "0.0 Hz"),
        (lambda: LoraSetting(7, 125e3, coding_rate=5), "coding rate of 5"),
        (lambda: time_on_air_s(LoraSetting(7, 125e3), 256), "256 bytes"),
        (lambda: most_packets_per_s(LoraSetting(7, 125e3), 10, duty_cycle=0.0), "duty cycle of 0.0"),
        (lambda: free_space_loss_db(0.0, 868e6), "0.0 m"),
        (lambda: margin_at_db(3.0, 10.0, 0.0), "0.0 m"),
    ],
)
def test_settings_that_cannot_be_are_refused(make, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        make()
