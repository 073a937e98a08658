"""Marks by which a phone shows later that a person sold at it, whoever is signed in then.

The server gives one out with the page of the person who signs in, and for the right PIN of another
seller. The phone keeps it and sends it with each sale of that person. It ends with a new password
and with a new PIN.
"""

from django.utils.crypto import constant_time_compare, salted_hmac

from apiary_sales.accounts.models import SellerPin, User


def proof_of(person: User) -> str:
    """Return the mark of a seller, of 64 characters."""
    pin = SellerPin.objects.filter(person=person).values_list("hashed", flat=True).first()
    told = f"{person.pk} {person.get_session_auth_hash()} {pin}"
    return salted_hmac(__name__, told, algorithm="sha256").hexdigest()


def is_proof(proof: object, person: User) -> bool:
    """Tell whether something that a phone sent is the mark of a seller."""
    return isinstance(proof, str) and constant_time_compare(proof, proof_of(person))
