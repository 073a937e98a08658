from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from . import set_up, tasks


def today(request: HttpRequest) -> HttpResponse:
    return render(request, "web/today.html", {"tasks": tasks.of(request.user)})


def help_page(request: HttpRequest) -> HttpResponse:
    return render(request, "web/help.html")


def settings_page(request: HttpRequest) -> HttpResponse:
    return render(request, "web/settings.html", {"pages": set_up.open_to(request.user)})
