"""The form of a dip chart: for which honey it is."""

from django.utils.translation import gettext_lazy as _

from inventory.physics import density
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import NumberField, TemperatureField


class DipChartForm(HouseForm):
    """The moisture and the temperature at which a chart turns volume into weight."""

    moisture_percent = NumberField(
        label=_("Moisture, percent"),
        max_digits=4,
        decimal_places=2,
        min_value=density.MOISTURE.low,
        max_value=density.MOISTURE.high,
    )
    celsius = TemperatureField(label=_("Temperature of the honey"))
