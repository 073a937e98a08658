from django.urls import path

from apiary_sales.mailing.views import emails, reminders

app_name = "mailing"

urlpatterns = [
    path("", emails.email_list, name="email_list"),
    path("<int:pk>/", emails.email_detail, name="email"),
    path("papers/<int:pk>/", emails.email_paper, name="email_paper"),
    path("<int:pk>/again/", emails.ResendView.as_view(), name="resend"),
    path("<int:pk>/came-back/", emails.BounceView.as_view(), name="bounce"),
    path("send/<slug:paper>/<int:pk>/", emails.SendEmailView.as_view(), name="send"),
    path("texts/", emails.text_list, name="text_list"),
    path("texts/<slug:name>/<str:language>/", emails.EmailTextView.as_view(), name="text"),
    path("texts/<slug:name>/<str:language>/usual/", emails.use_usual_text, name="text_usual"),
    path("reminders/", reminders.RemindersView.as_view(), name="reminders"),
    path("reminders/schedule/", reminders.ReminderPlanView.as_view(), name="reminder_plan"),
    path("reminders/customers/<int:pk>/", reminders.PauseView.as_view(), name="pause"),
    path("reminders/pauses/<int:pk>/end/", reminders.end_pause, name="pause_end"),
]
