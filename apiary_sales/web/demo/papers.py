"""Papers placeholder until views land."""


def write(say):
    return []
