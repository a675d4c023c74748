"""Bench proofs: what a builder shows of the vehicle on the bench, judged by the vehicle's own telemetry, and kept."""
