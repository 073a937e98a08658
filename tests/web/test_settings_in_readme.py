import re

from django.conf import settings


def test_each_setting_from_the_environment_has_a_row_in_the_readme():
    code = (settings.BASE_DIR / "apiary_sales" / "settings" / "__init__.py").read_text()
    readme = (settings.BASE_DIR / "README.md").read_text()

    read = set(re.findall(r'env\.\w+\(\s*"(\w+)"', code))
    told = set(re.findall(r"^\| `([A-Z_]+)` \|", readme, re.M))

    assert read == told
