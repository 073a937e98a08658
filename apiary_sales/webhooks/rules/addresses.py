"""Which addresses may be told: those of the open network, others only where a person says so."""

from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address
from urllib.parse import SplitResult, urlsplit

from django.utils.translation import gettext as _

IP = IPv4Address | IPv6Address
# Addresses of version 4 that are written in version 6: by a gateway (RFC 6052), as once was usual
# (RFC 4291, 2.5.5.1), and translated (RFC 7915).
OF_VERSION_4 = [IPv6Network(each) for each in ("64:ff9b::/96", "::/96", "::ffff:0:0:0/96")]
# Those of a gateway in our own network (RFC 8215), which `is_global` takes for others.
OWN_GATEWAY = IPv6Network("64:ff9b:1::/48")
THIS_MACHINE = ("localhost", "ip6-localhost")
LOOPBACK = "127.0.0.1"
# The characters that an address may have (RFC 3986): above all no spaces or ends of lines.
FIRST, LAST = "!", "~"


class AddressRefused(Exception):
    """This address may not be told; the text says why."""


def parts_of(url: str) -> SplitResult:
    """Return the parts of an address that may be told. Raises `AddressRefused`."""
    if not url or any(not FIRST <= sign <= LAST for sign in url):
        raise AddressRefused(_("Enter an address without spaces or accents."))
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or port == 0 or parts.scheme not in ("http", "https"):
        raise AddressRefused(
            _("Enter a whole address, for example https://shop.example/honey-house.")
        )
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise AddressRefused(_("Leave name, password and the part after # out of the address."))
    if parts.scheme == "http" and not _names_this_machine(host):
        raise AddressRefused(_("Begin with https:// so that nobody else reads it on the way."))
    return parts


def check_named(url: str, *, is_in_own_network: bool) -> None:
    """Raise `AddressRefused` where the address itself shows that nothing may be sent to it.

    A name that is looked up may lead elsewhere each time: `check` is for what it leads to.
    """
    parts = parts_of(url)
    host = parts.hostname or ""
    try:
        ip = ip_address(LOOPBACK if host in THIS_MACHINE else host)
    except ValueError:
        return
    check(ip, scheme=parts.scheme, is_in_own_network=is_in_own_network)


def check(ip: IP, *, scheme: str, is_in_own_network: bool) -> None:
    """Raise `AddressRefused` where nothing may be sent to this IP address."""
    ip = _inner(ip)
    if scheme == "http" and not ip.is_loopback:
        raise AddressRefused(_("Without https only a program on this machine is told."))
    if ip.is_unspecified or ip.is_multicast:
        raise AddressRefused(_("%(ip)s is no address of one machine.") % {"ip": ip})
    if not _is_outside(ip) and not is_in_own_network:
        raise AddressRefused(
            _("%(ip)s is in our own network. Tick that the program is, if that is right.")
            % {"ip": ip}
        )


def _is_outside(ip: IP) -> bool:
    if isinstance(ip, IPv6Address) and (ip.is_site_local or ip in OWN_GATEWAY):
        return False
    return ip.is_global


def _names_this_machine(host: str) -> bool:
    try:
        return _inner(ip_address(host)).is_loopback
    except ValueError:
        return host in THIS_MACHINE


def _inner(ip: IP) -> IP:
    """Return the address of version 4 that one of version 6 stands for, or the address itself."""
    if isinstance(ip, IPv4Address):
        return ip
    if ip.ipv4_mapped:
        return ip.ipv4_mapped
    if ip.is_loopback or ip.is_unspecified:
        return ip
    if any(ip in network for network in OF_VERSION_4):
        return IPv4Address(int(ip) & 0xFFFF_FFFF)
    return ip.sixtofour or ip
