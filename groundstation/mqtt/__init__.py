"""Publishing a session over MQTT 5. Nothing is subscribed to: no message from a broker is ever acted on."""

from groundstation.mqtt.address import Broker, BrokerAddressError, parse_broker
from groundstation.mqtt.publisher import Publisher

__all__ = ["Broker", "BrokerAddressError", "Publisher", "parse_broker"]
