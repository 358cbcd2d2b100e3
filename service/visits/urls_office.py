"""Addresses of the office's pages."""

from django.urls import path

from service.visits import views_defects, views_history, views_plan, views_records

office_urls = [
    path("planned/", views_plan.planned, name="planned"),
    path("planned/new/", views_plan.plan_new, name="plan_new"),
    path("planned/<uuid:pk>/edit/", views_plan.plan_edit, name="plan_edit"),
    path("planned/<uuid:pk>/cancel/", views_plan.plan_cancel, name="plan_cancel"),
    path("planned/<uuid:pk>/hand-over/", views_plan.plan_hand_over, name="plan_hand_over"),
    path("records/", views_records.records, name="records"),
    path("records/<uuid:pk>/", views_records.record, name="record"),
    path("records/<uuid:pk>/amend/", views_records.amend, name="amend"),
    path("spas/<uuid:pk>/history/", views_history.spa_history, name="spa_history"),
    path("defects/", views_defects.defects, name="defects"),
    path("defects/<uuid:pk>/", views_defects.defect, name="defect"),
    path("closures/", views_history.closures, name="closures"),
]
