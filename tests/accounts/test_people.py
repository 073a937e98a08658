import pytest
from django.urls import reverse

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people
from inventory.shared.errors import BadValue, NotAllowedNow, SeveralProblems
from tests import builders

pytestmark = pytest.mark.django_db

LAST_OWNER = (
    "Owner is the only owner. Make another person an owner first; otherwise nobody can add people."
)


@pytest.fixture
def signed_in_owner(client):
    client.force_login(builders.person("owner"))
    return client


def test_a_person_who_was_added_can_sign_in(client):
    people.add(username="maren", name="Maren Holt", role="stand", password="beeswax-and-twine")

    assert client.login(username="maren", password="beeswax-and-twine") is True
    assert User.objects.get(username="maren").display_name == "Maren Holt"


def test_two_people_cannot_have_the_same_name_to_sign_in_with(signed_in_owner):
    builders.person("stand")

    page = signed_in_owner.post(
        reverse("accounts:add_person"),
        {"username": "stand", "name": "Maren", "role": "office", "password": "beeswax-and-twine"},
    )

    assert page.context["form"].errors["username"] == ["This is taken already. Choose another."]
    assert User.objects.filter(username="stand").count() == 1


def test_what_is_wrong_with_a_new_person_names_the_argument():
    builders.person("stand")

    with pytest.raises(SeveralProblems) as refused:
        people.add(username="stand", name="M" * 151, role="queen", password="beeswax-and-twine")

    assert [(problem.parameter, problem.message) for problem in refused.value.problems] == [
        ("name", "Enter at most 150 characters. You entered 151."),
        ("role", "Choose one from the list."),
        ("username", "This is taken already. Choose another."),
    ]


def test_there_is_no_role_of_another_name():
    person = builders.person("stand")

    with pytest.raises(BadValue) as refused:
        people.change_role(person=person, role="queen")

    assert (refused.value.parameter, refused.value.message) == ("role", "Choose one from the list.")
    person.refresh_from_db()
    assert person.role == "stand"


def test_a_weak_password_is_refused_at_its_field(signed_in_owner):
    page = signed_in_owner.post(
        reverse("accounts:add_person"),
        {"username": "maren", "name": "Maren", "role": "office", "password": "12345"},
    )

    assert list(page.context["form"].errors) == ["password"]
    assert not User.objects.filter(username="maren").exists()


def test_the_owner_adds_a_person_on_the_page(signed_in_owner):
    page = signed_in_owner.post(
        reverse("accounts:add_person"),
        {
            "username": "maren",
            "name": "Maren Holt",
            "role": "bottling",
            "password": "beeswax-and-twine",
        },
        follow=True,
    )

    assert "Maren Holt can sign in now." in page.text
    assert User.objects.get(username="maren").has_perm("inventory.run_bottling") is True


def test_the_last_owner_keeps_the_role():
    owner = builders.person("owner")

    with pytest.raises(NotAllowedNow) as refusal:
        people.change_role(person=owner, role="stand")

    assert refusal.value.message == LAST_OWNER
    owner.refresh_from_db()
    assert (owner.role, owner.is_superuser) == ("owner", True)


def test_the_last_owner_is_not_switched_off():
    owner = builders.person("owner")

    with pytest.raises(NotAllowedNow) as refusal:
        people.switch_off(person=owner)

    assert refusal.value.message == LAST_OWNER
    owner.refresh_from_db()
    assert owner.is_active is True


def test_an_owner_may_go_when_another_stays():
    owner = builders.person("owner")
    people.add(username="second", name="Second", role="owner", password="beeswax-and-twine")

    people.change_role(person=owner, role="office")

    owner.refresh_from_db()
    assert (owner.role, owner.is_staff, owner.is_superuser) == ("office", False, False)


def test_an_owner_who_is_switched_off_does_not_count_as_the_other_owner():
    owner = builders.person("owner")
    other = people.add(username="second", name="B", role="owner", password="beeswax-and-twine")
    people.switch_off(person=other)

    with pytest.raises(NotAllowedNow) as refusal:
        people.switch_off(person=owner)

    assert refusal.value.message == LAST_OWNER


def test_a_person_switched_off_cannot_sign_in_until_switched_on(client):
    builders.person("owner")
    person = builders.person("stand")

    people.switch_off(person=person)
    assert client.login(username="stand", password="stand") is False

    people.switch_on(person=person)
    assert client.login(username="stand", password="stand") is True


def test_a_new_password_ends_the_old_one_and_the_open_sessions(client):
    person = builders.person("stand")
    client.force_login(person)
    assert client.get("/").status_code == 200

    people.reset_password(person=person, password="beeswax-and-twine")

    assert client.get("/").status_code == 302
    assert client.login(username="stand", password="stand") is False
    assert client.login(username="stand", password="beeswax-and-twine") is True


def test_the_owner_changes_role_password_and_switches_off_on_the_pages(signed_in_owner):
    person = builders.person("stand")

    signed_in_owner.post(reverse("accounts:change_role", args=[person.pk]), {"role": "office"})
    signed_in_owner.post(
        reverse("accounts:reset_password", args=[person.pk]), {"password": "beeswax-and-twine"}
    )
    page = signed_in_owner.post(reverse("accounts:switch_off", args=[person.pk]), follow=True)

    assert "Stand can no longer sign in." in page.text
    person.refresh_from_db()
    assert (person.role, person.is_active) == ("office", False)
    assert person.check_password("beeswax-and-twine") is True


def test_the_page_says_why_the_last_owner_stays(signed_in_owner):
    owner = builders.person("owner")

    page = signed_in_owner.post(reverse("accounts:change_role", args=[owner.pk]), {"role": "stand"})

    assert LAST_OWNER in page.text


@pytest.mark.parametrize("role", ["bottling", "stand", "office"])
@pytest.mark.parametrize(
    ("method", "name"),
    [
        ("get", "people"),
        ("get", "add_person"),
        ("post", "add_person"),
        ("get", "person"),
        ("post", "change_role"),
        ("post", "reset_password"),
        ("post", "switch_off"),
        ("post", "switch_on"),
    ],
)
def test_only_the_owner_manages_people(client, role, method, name):
    person = builders.person(role)
    client.force_login(person)
    arguments = [] if name in ("people", "add_person") else [person.pk]

    page = getattr(client, method)(reverse(f"accounts:{name}", args=arguments), {"role": "owner"})

    assert page.status_code == 403
    person.refresh_from_db()
    assert person.role == role


def test_the_back_office_leaves_role_and_deleting_to_the_people_page(signed_in_owner):
    person = builders.person("stand")
    address = reverse("admin:accounts_user_change", args=[person.pk])

    page = signed_in_owner.get(address)

    assert page.status_code == 200
    assert 'name="role"' not in page.text
    assert (
        signed_in_owner.get(reverse("admin:accounts_user_delete", args=[person.pk])).status_code
        == 403
    )
